"""The desk's screen: a list of what happened, and everything about the chosen one."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import ClassVar, TypeVar

import numpy as np
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical
from textual.screen import Screen
from textual.widgets import Input
from textual.worker import get_current_worker

from voicecapture.amend import typed_words
from voicecapture.audio import Samples
from voicecapture.dashboard.widgets import KeyHints, Lines
from voicecapture.desk.detail import LABEL_COLUMNS, Line, detail, row, wrapped
from voicecapture.desk.forms import Blank, EntryForm, Filled, Keys, Unseen
from voicecapture.desk.player import SLOWER, Player
from voicecapture.desk.rows import Parts, Rows, cells
from voicecapture.desk.sitting import Sitting
from voicecapture.errors import VoiceCaptureError
from voicecapture.language.phrase import Entry
from voicecapture.review import Book, Item, Order, Show, alternatives, arranged
from voicecapture.store.clips import Clip, read_before, read_utterance

_BEFORE_S = 3.0
_HINTS = (
    (
        *(("p", "play"), ("s", "slow"), ("b", "before"), ("1-9", "take"), ("e", "edit"), ("n", "no entry")),
        *(("r", "right"), ("m", "move"), ("t", "two")),
    ),
    (
        *(("u", "undo"), ("c", "not seen"), ("h", "hear"), ("space", "more"), ("/", "search"), ("f", "filter")),
        *(("?", "help"), ("q", "leave")),
    ),
)


class DeskScreen(Screen[None]):
    """Its keys settle one item after the other."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(place), f"take({place})", f"take {place}") for place in range(1, 10)),
        Binding("e,enter", "edit", "edit"),
        Binding("m", "move_cow", "move to another cow"),
        Binding("t", "two", "make two entries"),
        Binding("n", "no_entry", "not an entry"),
        Binding("r", "leave", "right as it is"),
        Binding("u", "undo", "undo"),
        Binding("c", "unseen", "cows not seen"),
        Binding("space", "more", "more about it"),
        Binding("p", "play", "play"),
        Binding("s", "play_slower", "slower"),
        Binding("b", "play_before", "with the three seconds before"),
        Binding("h", "hear", "hear again"),
        Binding("H", "hear_all", "hear all again"),
        Binding("slash", "search", "search"),
        Binding("f", "filter", "show others"),
        Binding("o", "order", "another order"),
        Binding("question_mark,f1", "keys", "help"),
        Binding("escape", "stop", "show everything"),
    ]

    def __init__(self, sitting: Sitting, player: Player) -> None:
        super().__init__()
        self._sitting, self._player = sitting, player
        self._by, self._showing, self._search = Order.NEED, Show.EVERYTHING, ""
        self._shown: list[Item] = []
        self._about: list[Line] = []

    def compose(self) -> ComposeResult:
        """The list, and the chosen item under it or beside it."""
        yield Lines("head")
        yield Input(placeholder="cow, words, need or person", id="search")
        with Container(id="desk"):
            yield Rows(self._line, id="rows")
            yield Rows(self._about_line, id="about", has_cursor=False)
        yield Lines("told")
        with Vertical(id="hints"):
            for _ in _HINTS:
                yield KeyHints()

    def on_mount(self) -> None:
        """What needs a person stands first; what does not fit is found once that is on the screen."""
        for line, hints in zip(self.query(KeyHints), _HINTS, strict=True):
            line.show(hints)
        self.query_one("#about").can_focus = False
        # Both lists change before either is painted.
        self.watch(self._rows, "cursor", self._show_about, init=False)
        self._arrange(0)
        self._rows.focus()
        self.call_after_refresh(self._reckon)

    # ---- what is shown ---------------------------------------------------------------------------

    @work(thread=True, group="reckoning")
    def _reckon(self) -> None:
        worker, is_taken = get_current_worker(), False
        while not is_taken and not worker.is_cancelled:
            book = self._sitting.book
            is_taken = self.app.call_from_thread(self._take_reckoned, book, book.reckoned())

    def _take_reckoned(self, of: Book, reckoned: Book) -> bool:
        is_taken = self._sitting.take_reckoned(of, reckoned)
        if is_taken:
            self._arrange_after(self._rows.cursor > 0)
        return is_taken

    def _line(self, number: int, width: int) -> Parts:
        """One row of the list."""
        item = self._shown[number]
        spare = max(10, width - 37)
        what = min(34, spare * 3 // 5)
        again = self._sitting.reheard.get((item.day, item.number))
        parts = row(item, again is not None and again.is_otherwise)
        text = cells(parts, (1, 17, 6, 5, what, spare - what))
        return ((text, "rows--needed" if item.needs else ""),)

    @property
    def _rows(self) -> Rows:
        return self.query_one("#rows", Rows)

    @property
    def _item(self) -> Item | None:
        cursor = self._rows.cursor
        return self._shown[cursor] if cursor < len(self._shown) else None

    def _arrange(self, cursor: int, followed: Item | None = None) -> None:
        """Show the list anew with the cursor there, or on an item, if that is still shown."""
        sitting = self._sitting
        self._shown = arranged(sitting.items, self._by, self._showing, self._search, sitting.otherwise())
        if followed is not None:
            key = (followed.day, followed.number)
            cursor = next((n for n, item in enumerate(self._shown) if (item.day, item.number) == key), cursor)
        self._rows.show(len(self._shown), cursor)
        unsaid = sum(not why for _, why in sitting.unseen)
        shown = f"{len(self._shown)} shown: {self._showing}, by {self._by}"
        self.query_one("#head", Lines).put(
            f"{sitting.left} to settle, {unsaid} cows not seen   {shown}   {sitting.desk.by}"
        )
        self._show_about()

    def _arrange_after(self, is_followed: bool) -> None:
        """Show the list anew; the cursor stays on its item, or on its row, where the next item now stands."""
        self._arrange(self._rows.cursor, self._item if is_followed else None)

    def on_resize(self) -> None:
        """Its lines are as long as there is room."""
        self.call_after_refresh(self._show_about)

    def _show_about(self) -> None:
        """Show everything about the chosen item."""
        item, about = self._item, self.query_one("#about", Rows)
        lines = detail(self._sitting, item) if item is not None else [("", "nothing to show")]
        self._about = wrapped(lines, about.size.width)
        about.scroll_to(y=0, animate=False)
        about.show(len(self._about))

    def _about_line(self, number: int, _width: int) -> Parts:
        label, text = self._about[number]
        return (f"{label:<{LABEL_COLUMNS}}", "rows--label"), (text, "")

    def action_more(self) -> None:
        """Show more about the chosen item, after the end the beginning again."""
        about = self.query_one("#about")
        if about.scroll_y >= about.max_scroll_y:
            about.scroll_home(animate=False)
        else:
            about.scroll_page_down(animate=False)

    def _tell(self, text: str) -> None:
        self.query_one("#told", Lines).put(text)

    # ---- settling --------------------------------------------------------------------------------

    def _change(self, change: Callable[[], None], done: str) -> None:
        """Put a change on record and go on to what needs a person next."""
        chosen = self._item
        try:
            change()
        except VoiceCaptureError as error:
            done = str(error)
        is_next = self._by is Order.NEED and chosen is not None and bool(chosen.needs)
        self._tell(done)
        self._arrange_after(not is_next)

    def action_take(self, place: int) -> None:
        """Take an alternative."""
        item = self._item
        if item is None:
            return
        found = alternatives(item.event, self._sitting.reheard.get((item.day, item.number)))
        if place > len(found):
            self._tell(f"there is no alternative {place}")
            return
        entry = found[place - 1].entry
        self._change(
            lambda: self._sitting.take(item, [entry], f"took {place} of what may be meant"),
            f"taken: {entry.cow} {typed_words(entry)}   (u: undo)",
        )

    def action_no_entry(self) -> None:
        """Say that it is no entry."""
        item = self._item
        if item is not None:
            self._change(lambda: self._sitting.no_entry(item), f"not an entry: {item.cow} {item.what}   (u: undo)")

    def action_leave(self) -> None:
        """Say that it is right as it is."""
        item = self._item
        if item is not None:
            self._change(lambda: self._sitting.leave(item), f"right as it is: {item.cow} {item.what}   (u: undo)")

    def action_undo(self) -> None:
        """Undo the last change of this sitting."""
        undone: list[str] = []
        try:
            undone.append(self._sitting.undo())
            self._tell(f"undone: {undone[0]}" if undone[0] else "nothing to undo in this sitting")
        except VoiceCaptureError as error:
            self._tell(str(error))
        self._arrange_after(False)

    def action_edit(self) -> None:
        """Open the form."""
        item = self._item
        if item is None:
            return
        entry = item.event.entry or Entry()
        self._fill(item, "what was found", (Blank(item.cow, typed_words(entry)),))

    def action_move_cow(self) -> None:
        """Open the form for the cow number alone."""
        item = self._item
        if item is None:
            return
        found = typed_words(item.event.entry) if item.event.entry else ""
        if not found:
            self._tell("nothing was found here that could be another cow's; e: edit")
            return
        self._fill(item, f"move from {item.cow} to another cow", (Blank("", found, is_found_fixed=True),))

    def action_two(self) -> None:
        """Open the form for two entries."""
        item = self._item
        if item is None:
            return
        entry = item.event.entry or Entry()
        self._fill(item, "make two entries of it", (Blank(item.cow, typed_words(entry)), Blank("", "")))

    def _fill(self, item: Item, title: str, blanks: tuple[Blank, ...]) -> None:
        sitting = self._sitting

        def keep(filled: Filled | None) -> None:
            if filled is None:
                return
            entries, why = filled
            told = " and ".join(f"{entry.cow} {typed_words(entry)}" for entry in entries)
            self._change(lambda: sitting.take(item, entries, why), f"taken: {told}   (u: undo)")

        self.app.push_screen(EntryForm(title, blanks, partial(sitting.checked, item)), keep)

    def action_unseen(self) -> None:
        """Open the cows that were not seen."""
        sitting = self._sitting
        self.app.push_screen(
            Unseen(lambda: sitting.unseen, sitting.note_absence, sitting.undo), lambda _: self._arrange_after(True)
        )

    # ---- hearing ---------------------------------------------------------------------------------

    def action_play(self) -> None:
        """Play it."""
        self._play(lambda clip, _: (read_utterance(clip).samples, "playing"))

    def action_play_slower(self) -> None:
        """Play it slower."""
        told = f"playing at {SLOWER:g} of its speed, the voice lower by as much"
        self._play(lambda clip, _: (read_utterance(clip).samples, told), SLOWER)

    def action_play_before(self) -> None:
        """Play it with the three seconds before it."""
        self._play(_with_before)

    def _play(self, sound: Callable[[Clip, Mapping[int, Clip]], tuple[Samples, str]], speed: float = 1.0) -> None:
        """Play what belongs to the chosen item, and say what is played."""
        item = self._item
        clip = self._sitting.clip(item) if item is not None else None
        if item is None or clip is None:
            self._tell("there is no sound: it was typed")
            return
        try:
            samples, told = sound(clip, self._sitting.clips[item.day])
            self._player.play(samples, speed)
        except VoiceCaptureError as error:
            told = str(error)
        self._tell(told)

    def action_hear(self) -> None:
        """Hear it again."""
        item = self._item
        if item is not None:
            self._hear([item])

    def action_hear_all(self) -> None:
        """Hear everything again that is shown."""
        self._hear(self._shown)

    def _hear(self, wanted: Sequence[Item]) -> None:
        """Hear items again beside the screen."""
        heard = [item for item in wanted if self._sitting.can_be_heard(item)]
        if not heard:
            self._tell("there is no sound of what was said to hear again")
            return
        self._tell(f"hearing {len(heard)} again; nothing is changed by it   (esc: stop)")
        self._hear_beside(heard)

    @work(thread=True, exclusive=True, group="hearing")
    def _hear_beside(self, wanted: Sequence[Item]) -> None:
        worker, otherwise, faults = get_current_worker(), 0, list[str]()
        for done, item in enumerate(wanted, 1):
            try:
                otherwise += self._sitting.hear(item).is_otherwise
            except VoiceCaptureError as error:
                faults.append(str(error))
            if worker.is_cancelled:
                return
            told = f"heard again {done} of {len(wanted)}: {otherwise} otherwise, nothing was changed"
            if faults:
                told += f"; {len(faults)} could not be heard: {faults[0]}"
            self.app.call_from_thread(self._show_heard, told, done == len(wanted))

    def _show_heard(self, told: str, is_done: bool) -> None:
        self._tell(told)
        if is_done:
            self._arrange_after(True)

    # ---- finding ---------------------------------------------------------------------------------

    def action_search(self) -> None:
        """Type what to look for."""
        self.query_one("#search").add_class("open").focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Look for it at every letter."""
        self._search = event.value
        self._arrange(0)

    def on_input_submitted(self) -> None:
        """Go on with what was found."""
        self._rows.focus()

    def action_filter(self) -> None:
        """Show others."""
        self._showing = _next(self._showing)
        self._arrange(0)

    def action_order(self) -> None:
        """Go by another order; the cursor stays on its item."""
        self._by = _next(self._by)
        self._arrange_after(True)

    def action_stop(self) -> None:
        """Hear nothing more, and show everything again."""
        self.workers.cancel_group(self, "hearing")
        self._player.stop()
        search = self.query_one("#search", Input)
        search.remove_class("open")
        search.value = ""
        self._showing = Show.EVERYTHING
        self._rows.focus()
        self._arrange_after(True)

    def action_keys(self) -> None:
        """What every key does."""
        self.app.push_screen(Keys())


_Choice = TypeVar("_Choice", Order, Show)


def _next(choice: _Choice) -> _Choice:
    """The choice after this; after the last the first."""
    choices = list(type(choice))
    return choices[(choices.index(choice) + 1) % len(choices)]


def _with_before(clip: Clip, clips: Mapping[int, Clip]) -> tuple[Samples, str]:
    before, kept_s = read_before(clips, clip.number, _BEFORE_S)
    told = f"playing; {kept_s:.1f} s of the {_BEFORE_S:.0f} s before it were kept, the rest is silent"
    if not kept_s:
        before, told = before[:0], f"playing; nothing was kept of the {_BEFORE_S:.0f} s before it"
    return np.concatenate((before, read_utterance(clip).samples)), told
