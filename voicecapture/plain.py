"""The day as plain lines, for where there is no screen."""

from voicecapture.day import EventKind
from voicecapture.update import Update

# By kind and not by outcome: an entry taken back, or refused as neither, was understood but does not count.
_WORDS = {
    EventKind.ACCEPTED: "taken",
    EventKind.QUESTION: "asked",
    EventKind.IGNORED: "ignored",
    EventKind.TAKEN_BACK: "undone",
    EventKind.COMMAND: "command",
    EventKind.NOTE: "note",
}


def log_line(update: Update) -> str | None:
    """One line for a decision: time, outcome, what was heard, what was said or why, and what needs a look.

    None without a decision.
    """
    if update.decision is None:
        return None
    event, counts = update.decision.event, update.day.counts
    minutes, seconds = divmod(int(event.at_s), 60)
    word = "read" if event.is_read and event.kind is EventKind.NOTE else _WORDS[event.kind]
    answer = f"-> {update.said}" if update.said else f"({event.reason})"
    return (
        f"{minutes:3d}:{seconds:02d}  {word:<7}  {counts.scanned:4d} scanned "
        f"{counts.questions:2d} open   {event.heard}  {answer}"
        + "".join(f"  ! {alert}" for alert in (*update.alerts, *update.troubles))
    )
