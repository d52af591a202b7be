"""The widget of a bench: sliders, buttons and one HTML picture over the pure functions of its module."""

from dataclasses import replace
from importlib.resources import files

import ipywidgets as widgets
from traitlets import Int

from .model import Control, Situation, talk, with_own
from .picture import picture_html, static_html, static_text, style_html

__all__ = ["Panel", "naming_script"]


def naming_script() -> str:
    """The script that gives sliders the name and unit that a screen reader says; ipywidgets leaves them nameless."""
    return files(__package__).joinpath("naming.js").read_text(encoding="utf-8")


class _Slider(widgets.SelectionSlider):
    """A slider whose moves are not sent back to the page they came from, where nothing else would use them."""

    index = Int(None, allow_none=True).tag(sync=True, echo_update=False)


class Panel(widgets.VBox):
    """One bench, started at a learner's circuit; `state` is what it shows now."""

    def __init__(self, module, circuit=None):
        self._module = module
        self._first = module.start(circuit)
        self.state = module.state(self._first)
        self._quiet = False
        self._picture = widgets.HTML(picture_html(self.state))
        self._sliders = {control.name: self._slider(control) for control in module.CONTROLS}
        controls = widgets.Box([*self._sliders.values()])
        controls.add_class("hc-controls")
        super().__init__([widgets.HTML(style_html()), self._picture, controls, self._buttons()])
        self.add_class("hc-bench")

    @property
    def title(self) -> str:
        return talk(self._module.NAME).title

    def set(self, **changes) -> None:
        """Move controls together, as a situation does: one picture, one sentence."""
        self._show(replace(self.state.settings, **changes))

    def reset(self) -> None:
        """Back to where the bench began."""
        self._show(self._first, fresh=True)

    def _slider(self, control: Control) -> _Slider:
        value = getattr(self._first, control.name)
        slider = _Slider(
            options=[(control.show(choice), choice) for choice in with_own(control, value)],
            value=value,
            description=control.label,
            tooltip=control.label,
        )
        slider.observe(lambda change: self._moved(control.name, change["new"]), "value")
        return slider

    def _buttons(self) -> widgets.Box:
        buttons = [self._situation(situation) for situation in self._module.SITUATIONS]
        again = widgets.Button(description="Reset", tooltip="Put every control back to where the bench began")
        again.on_click(lambda _: self.reset())
        again.add_class("hc-reset")
        row = widgets.Box([*buttons, again])
        row.add_class("hc-situations")
        return row

    def _situation(self, situation: Situation) -> widgets.Button:
        button = widgets.Button(description=situation.words, tooltip=f"Situation: {situation.words}")
        button.on_click(lambda _: self.set(**situation.changes))
        return button

    def _moved(self, name: str, value) -> None:
        if not self._quiet:
            self._show(replace(self.state.settings, **{name: value}))

    def _show(self, settings, *, fresh: bool = False) -> None:
        """The picture goes last: it leaves for the page as soon as Python has nothing else to do."""
        self.state = self._module.state(settings, None if fresh else self.state.settings)
        self._quiet = True
        for name, slider in self._sliders.items():
            slider.value = getattr(settings, name)
        self._quiet = False
        self._picture.value = picture_html(self.state)

    def _repr_mimebundle_(self, **kwargs):
        bundle = super()._repr_mimebundle_(**kwargs) or {}
        return {
            **bundle,
            "text/html": static_html(self.title, self.state, self._module.CONTROLS),
            "text/plain": static_text(self.title, self.state),
        }

    def _ipython_display_(self):
        from IPython.display import display

        display({"application/javascript": naming_script(), "text/plain": ""}, raw=True)
        display(self._repr_mimebundle_(), raw=True)
