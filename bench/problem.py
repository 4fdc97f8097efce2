"""Errors that a person can correct: one sentence, never a traceback."""


class Problem(Exception):  # noqa: N818 - a problem of the input, not an error of ours
    """Bad input or something missing, in one sentence.

    Args:
        sentence: what is wrong, where (the file and the place in it), and what to do.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence
