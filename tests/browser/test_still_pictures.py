"""Hostile pictures in a graded notebook, as the instructor's browser meets them: shown, and nothing in them acts."""

from nbformat.v4 import new_output

from autograde.preprocessors.tame_outputs import tamed

HOSTILE = """<p>kept</p>
<svg xmlns="http://www.w3.org/2000/svg" width="90" height="30" onload="top.acted = 1; alert(1)" aria-label="hostile">
<script>top.acted = 1; alert(1)</script><rect width="90" height="30" fill="green"/>
<image href="http://192.0.2.1/picture.png" width="9" height="9"/>
<style>@import url(http://192.0.2.1/style.css); rect { fill: url(http://192.0.2.1/fill.svg#a) }</style>
<foreignObject width="9" height="9"><body xmlns="http://www.w3.org/1999/xhtml"><img src="x" onerror="top.acted = 1"/></body></foreignObject>
<a href="javascript:top.acted=1"><text y="20">click</text></a><set attributeName="onclick" to="top.acted=1"/></svg>"""


def test_a_hostile_picture_is_a_picture_and_nothing_else(screen):
    said = []
    screen.page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    (output,) = tamed([new_output("display_data", data={"text/html": HOSTILE})])
    screen.page.set_content(output.data["text/html"], wait_until="load")
    image = screen.page.locator("img")
    assert image.count() == 1
    image.click()
    assert image.evaluate("one => one.naturalWidth") == 90
    assert screen.page.evaluate("window.acted") is None
    assert said == [] and screen.refused == []


def test_the_page_as_it_was_handed_in_does_act(screen):
    """The test above proves nothing if this one fails."""
    screen.page.on("dialog", lambda dialog: dialog.dismiss())
    screen.page.set_content(f"<html><body>{HOSTILE}</body></html>", wait_until="load")
    assert screen.page.evaluate("window.acted") == 1
