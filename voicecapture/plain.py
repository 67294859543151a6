"""The day as plain lines, for where there is no screen."""

from voicecapture.decision import Outcome
from voicecapture.update import Update

_SIGNS = {Outcome.ACCEPTED: "taken", Outcome.QUESTION: "asked", Outcome.IGNORED: "ignored"}


def log_line(update: Update) -> str | None:
    """One line for a decision: time, outcome, what was heard, what was said and why; None without a decision."""
    if update.decision is None:
        return None
    event, counts = update.decision.event, update.day.counts
    minutes, seconds = divmod(int(event.at_s), 60)
    answer = f"-> {update.said}" if update.said else f"({event.reason})"
    return (
        f"{minutes:3d}:{seconds:02d}  {_SIGNS[update.decision.outcome]:<7}  {counts.scanned:4d} scanned "
        f"{counts.questions:2d} open   {event.heard}  {answer}"
    )
