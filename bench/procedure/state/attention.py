"""What a reader must know besides the verdict: work cut short, lines left open, unsatisfactory answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.procedure.state.event_kinds import Event
from bench.procedure.state.event_words import Titles, event_sentence, left_open
from bench.procedure.state.events import Answered, Ticked, Waited


def attention(events: Sequence[Event], titles: Titles) -> dict[int, str]:
    """A sentence for each, by the index of its event; for a step done several times the last time counts."""
    return dict(_found(events, titles))


def _found(events: Sequence[Event], titles: Titles) -> Iterator[tuple[int, str]]:
    last = {(event.step, type(event)): place for place, event in enumerate(events)}
    for place in sorted(last.values()):
        event = events[place]
        title = titles.get(event.step, event.step)
        match event:
            case Waited() if event.seconds < event.of_s:
                yield place, f"{title}: {event_sentence(event, titles)}."
            case Ticked() if event.left_open:
                yield place, f"{title}: {left_open(event)}."
            case Answered() if event.not_good or _outside(event):
                yield place, f"{title if title.endswith('?') else title + ':'} {event_sentence(event, titles)}."


def _outside(event: Answered) -> bool:
    return isinstance(event.answer, float) and event.limits is not None and not event.limits.hold(event.answer)
