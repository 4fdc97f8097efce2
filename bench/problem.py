"""What goes wrong in a way a person can put right: one sentence, never a traceback."""


class Problem(Exception):  # noqa: N818 - it is a problem of the person's, not an error of ours
    """Bad input or a missing thing, told in one sentence.

    Args:
        sentence: what is wrong and how to put it right; names the file and the place in it where there is one.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence
