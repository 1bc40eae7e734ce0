"""What must change, in words: from which value on a condition holds, and how that was confirmed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol


class Ranged(Protocol):
    """A range of a key's values: how they are written."""

    @property
    def key(self) -> str:
        """The scene's key."""

    @property
    def unit(self) -> str:
        """Its unit, "" for a plain number."""

    @property
    def sign(self) -> str:
        """What parts several numbers."""

    def partners(self, numbers: Sequence[float]) -> Sequence[tuple[Ranged, Sequence[float]]]:
        """Keys that go through their ranges with it, and their numbers at some of its own."""


def value_words(span: Ranged, numbers: Sequence[float]) -> str:
    """Return "body.magnet.position.z = 61.2 mm", or of keys that go together a list of these."""
    own = f"{span.key} = {span.sign.join(f'{x:.4g}' for x in numbers)} {span.unit}".rstrip()
    return ", ".join([own, *(value_words(*other) for other in span.partners(numbers))])


def found_words(span: Ranged, condition: str, value: str, beyond: str, detail: str) -> str:
    """Return the sentence of a value that was found and confirmed."""
    return (
        f'"{condition}" holds at {value}, confirmed with {detail} cells, and no longer at {beyond};'
        " materials, friction and hands vary: stay well on the side where it holds."
    )


def always_words(span: Ranged, condition: str) -> str:
    """Return the sentence of a condition that held wherever it was looked."""
    return f'"{condition}" held at every value of {span.key} looked at: no limit within the range.'


def never_words(span: Ranged, condition: str) -> str:
    """Return the sentence of a condition that held nowhere."""
    return f'None found: "{condition}" held at no value of {span.key} looked at.'


def not_monotone_words(
    span: Ranged, condition: str, held: Sequence[str], not_: Sequence[str]
) -> str:
    """Return the sentence of a condition that comes and goes over the range."""
    return (
        f'No single value: "{condition}" comes and goes over {span.key}; it held at'
        f" {', '.join(held)} and not at {', '.join(not_)}. Narrow the range."
    )


def contradicted_words(span: Ranged, condition: str, beyond: str) -> str:
    """Return the sentence of a value that finer cells did not confirm."""
    return (
        f'None confirmed: finer cells found that "{condition}" does not hold as far as {beyond}.'
        " Widen the range."
    )
