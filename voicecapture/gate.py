"""Who stands at the electronic-ID reader, and whose a result without a number is. Pure.

A number that was heard says which cow it was; a read only says which cow went by. In a race the reads come in the
order of the cows, but one missed read shifts every later result to the wrong cow, and a reader that is a cow ahead
of the vet's voice, or behind it, does so from the first. The order alone is therefore never trusted:

- A read is open until its cow has a result, or a cow that was read after her has one; then she went by without.
- A result alone goes to the cow of the one open read, if she was read before the words began and no longer ago than
  the time that the user sets. The read-back says her number.
- If several reads are open, or a question about another cow, the vet is asked whose it is.
- With no such read the result is asked about, as without a reader.
- A number that was spoken must agree with an open read, or is asked about: "the reader says 417, heard 470". If
  nobody was read lately it counts by itself. A typed entry with its number is not compared.
- Results without a number are asked about, with the cow, until `STEPS` of them in a row agreed with the last read: at
  the start of a day, and whenever the reader was seen to be out of step. That is when a result without a number came
  with no read, when there was a read behind its cow's, or when the vet held to a number against it. A number that is
  spoken and agrees counts like an answer. A reader that is a cow ahead looks right after one missed read and would
  then be wrong all day, hence more than one.
- A cow that is read again and again while she stands there was read once.
- A code that is not in the herd list is asked about. A line that is no code, and the loss of the reader, may have
  been a cow too: after either, a result needs a number.

What is left: if the cow that is scanned was not read, and one read shortly before went by without a result, the
result goes to that one. Only the number in the read-back tells it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

STEPS = 3
"""Results that must agree with the reader before it is believed."""
LEAST_WINDOW_S = 3.0
"""The shortest time for which a cow that was read can be set to stand at the gate, seconds."""


@dataclass(frozen=True, slots=True)
class Read:
    """What the reader read, until its result comes."""

    cow: str | None
    """None if nobody knows which cow it was."""
    code: str
    """15 digits as in ISO 11784; empty if the line was none."""
    at_s: float
    """On the audio clock, seconds."""
    question: int | None = None
    """Number of the event that asks about the code."""

    def may_be(self, cow: str, code: str | None) -> bool:
        """Whether it may have been this cow, who wears `code` by the herd list."""
        return self.cow == cow if self.cow else not (self.code and code)


@dataclass(frozen=True, slots=True)
class Gate:
    """The reads of a day after some events."""

    open: tuple[Read, ...] = ()
    """In the order in which they were read."""
    seen_s: Mapping[str, float] = field(default_factory=dict)
    """When each code was last read, on the audio clock in seconds."""
    steps: int = STEPS
    """Results that must still agree before the reader is in step, 0 to `STEPS`."""

    # ---- what changes it -------------------------------------------------------------------------

    def after_read(self, read: Read) -> "Gate":
        """Somebody came to the gate."""
        others = tuple(other for other in self.open if not read.code or other.code != read.code)
        return replace(self, open=(*others, read), seen_s={**self.seen_s, read.code: read.at_s})

    def still_there(self, code: str, at_s: float) -> "Gate":
        """A cow whose read is open or was used still stands there."""
        reads = tuple(replace(read, at_s=at_s) if read.code == code else read for read in self.open)
        return replace(self, open=reads, seen_s={**self.seen_s, code: at_s})

    def after_result(self, cow: str, code: str | None, said_s: float, was_asked: bool) -> "Gate":
        """A result was taken.

        Args:
            cow: Hers.
            code: Her electronic ID by the herd list.
            said_s: When the words ended, first said; on the audio clock, seconds.
            was_asked: They were asked about, and answered.
        """
        if not self.open:
            return self
        place = self._place(cow, code)
        if place is None:
            # A younger read was not compared with words that were not asked about: it came while they were said.
            since_s = said_s if was_asked else said_s - LEAST_WINDOW_S
            later = tuple(read for read in self.open if read.at_s > since_s)
            came_later = was_asked and later == self.open
            return self if came_later else replace(self, open=later, steps=STEPS)
        later = self.open[place + 1 :]
        is_in_step = self.open[place].cow == cow and not any(read.at_s <= said_s for read in later)
        return replace(self, open=later, steps=max(0, self.steps - 1) if is_in_step else STEPS)

    def after_other_result(self, cow: str) -> "Gate":
        """A result was put on record that says nothing of who stands at the gate: typed, or a correction."""
        others = tuple(read for read in self.open if read.cow != cow)
        return self if others == self.open else replace(self, open=others)

    def out_of_step(self) -> "Gate":
        """A result came that is nobody's."""
        return replace(self, steps=STEPS)

    # ---- what it says ----------------------------------------------------------------------------

    def waiting(self, said_s: float) -> tuple[Read, ...]:
        """The open reads from before the words that began at `said_s`."""
        return tuple(read for read in self.open if read.at_s <= said_s)

    def whose(self, about: Sequence[str | None], said_s: float, window_s: float) -> tuple[str | None, ...]:
        """Cows whose a result without a number may be, first those of a question; none without another lately."""
        reads = self.waiting(said_s)
        lately = tuple(read for read in reads if said_s - read.at_s <= window_s)
        if not lately or all(read.cow in about for read in lately):
            return ()
        return tuple(dict.fromkeys((*about, *(read.cow for read in (lately if about else reads)))))

    def against(self, cow: str, code: str | None, said_s: float, window_s: float) -> tuple[Read, ...]:
        """The reads that speak against a number; none if one agrees or nobody was read lately."""
        if self._place(cow, code) is not None:
            return ()
        return tuple(read for read in self.waiting(said_s) if said_s - read.at_s <= window_s)

    def asked_of(self, cow: str, code: str | None, said_s: float, window_s: float) -> int | None:
        """The question about an unlisted code that a result of this cow settles."""
        place = self._place(cow, code)
        if place is None or self.open[place].cow or not 0 <= said_s - self.open[place].at_s <= window_s:
            return None
        return self.open[place].question

    def _place(self, cow: str, code: str | None) -> int | None:
        """Place of the cow's read; without one, that of a read that may have been hers."""
        fitting = [place for place, read in enumerate(self.open) if read.may_be(cow, code)]
        return next((place for place in fitting if self.open[place].cow), fitting[0] if fitting else None)
