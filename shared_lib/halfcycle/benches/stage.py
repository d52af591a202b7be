"""The benches on one screen for a room: a choice of benches, the bench, and the presenter's strip beside it."""

from html import escape

import ipywidgets as widgets

from . import NAMES, bench
from .model import Talk, talk

__all__ = ["Stage", "strip_html"]


class Stage(widgets.VBox):
    """What the demo page shows. Each bench is made when it is first chosen, and keeps its settings afterwards."""

    def __init__(self, name: str = "rectifier"):
        self._panels = {}
        self._shown = widgets.Box()
        self._shown.add_class("hc-shown")
        self._strip = widgets.HTML()
        self.choice = widgets.RadioButtons(
            options=[(talk(each).short, each) for each in NAMES], value=name, description="Bench"
        )
        self.choice.add_class("hc-choice")
        self.choice.observe(lambda change: self._show(change["new"]), "value")
        head = widgets.Box([widgets.HTML('<h1 class="hc-name">Half Cycle</h1>'), self.choice])
        head.add_class("hc-head")
        super().__init__([head, self._shown, self._strip])
        self.add_class("hc-stage")
        self._show(name)

    @property
    def panel(self):
        """The bench that is shown now."""
        return self._panels[self.choice.value]

    def _show(self, name: str) -> None:
        if name not in self._panels:
            self._panels[name] = bench(name)
        self._strip.value = strip_html(talk(name))
        self._shown.children = [self._panels[name]]


def strip_html(words: Talk) -> str:
    """The presenter's strip: three questions to ask the room, and the cautions that belong to the bench."""
    questions = "".join(f"<li>{escape(question)}</li>" for question in words.questions)
    cautions = " ".join(escape(caution) for caution in words.cautions)
    return (
        f'<aside class="hc-ask" aria-label="For the presenter"><h2>Ask the room</h2><ol>{questions}</ol>'
        f'<h2 class="hc-beware">Before anyone opens a panel</h2><p>{cautions}</p></aside>'
    )
