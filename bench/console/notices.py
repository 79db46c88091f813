"""The notices on the screen, whole sentences for the person."""

from __future__ import annotations

from collections.abc import Container

import msgspec

NOTICES = 8  # sentences kept


class NoticeLine(msgspec.Struct, frozen=True):
    about: str
    words: str
    bad: bool = False


class NoticeList(list[NoticeLine]):
    """The latest notices, the newest at the end; trouble that is not over stays behind
    mere remarks."""

    def add(self, notice: NoticeLine, troubled: Container[str]) -> None:
        """troubled: what still has trouble. The same twice in a row is said once."""
        place = len(self)
        while (
            not notice.bad
            and place
            and self[place - 1].bad
            and self[place - 1].about in troubled
        ):
            place -= 1
        if not place or self[place - 1].words != notice.words:
            self.insert(place, notice)
        del self[:-NOTICES]

    def over(self, about: str, *, bad: bool = True) -> None:
        """Drop the notices about that, which count no more; bad: only the bad news."""
        self[:] = [one for one in self if one.about != about or (bad and not one.bad)]
