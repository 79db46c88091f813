"""How square the parts come out, and what to put right first; and all sleds at once."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from bench.console.screens.reading import ReadingScreen
from bench.console.widgets.cut_picture import CutPicture
from bench.console.widgets.cut_words import CutWords, ShopWords


class CutScreen(ReadingScreen):
    page = "cut"

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.ask_cut()

    def content(self) -> Iterable[Widget]:
        yield CutWords()
        yield CutPicture()


class ShopScreen(ReadingScreen):
    page = "shop"

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.requests.ask_shop()

    def content(self) -> Iterable[Widget]:
        yield ShopWords()
