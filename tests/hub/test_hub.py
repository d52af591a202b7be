"""The course on a real JupyterHub: the whole round in Chromium, graded on a Dask cluster, and learners kept apart.

Marks are held against the crest of a sine (√2 times its rms value) and against volt-amperes over volts, worked out here
from the values that the page shows.
"""

import json
import math
from pathlib import Path

import pytest
from hub_page import MILLISECONDS, Person
from playwright.sync_api import expect
from school import COURSE, INSTRUCTOR, LESSON, School, proxy
from tries import TRIES

from halfcycle.variants import circuit

SHOTS = Path(__file__).resolve().parents[2] / "artefacts"
FORGED = 'import os; os.environ["HALFCYCLE_LEARNER"] = "amara"; line_amps = '
PLANT = """
import os, shutil
shutil.copytree(work, f"{inbound}/amara+{lesson}+2026-03-02 18:00:00 UTC+borrowed")
other = f"{inbound}/bo+{lesson}+2026-03-02 18:00:00 UTC+linked"
os.umask(0)
os.mkdir(other)
os.symlink(solved, f"{other}/{lesson}.ipynb")
open(f"{other}/submission_secret.txt", "w").write("known")
print("planted")
"""


@pytest.fixture(scope="module")
def school(tmp_path_factory):
    """The hub and the cluster; every process and every file of it is gone afterwards."""
    with School(proxy(tmp_path_factory.mktemp("proxy"))) as running:
        yield running


@pytest.fixture(scope="module")
def people(school, chromium):
    """``{name: Person}``, everybody logged in."""
    contexts = {name: chromium.new_context(viewport={"width": 1280, "height": 900}) for name in school.machine.homes}
    yield {name: Person(school, context, name).enter() for name, context in contexts.items()}
    for context in contexts.values():
        context.close()


@pytest.fixture(scope="module")
def handed_in(school, people):
    """Amara answers for her own circuit. Bo claims to be Amara wherever he can, and answers one question for himself."""
    own = {name: circuit(COURSE, LESSON[:2], name) for name in ("amara", "bo")}
    amps = {name: f"{each.volt_amperes} / {each.line_volts}" for name, each in own.items()}
    assert not math.isclose(eval(amps["amara"]), eval(amps["bo"]), rel_tol=0.2)
    home = school.machine.homes["bo"]
    (home / ".halfcycle.json").write_text(json.dumps({"course": COURSE, "learner": "amara"}))
    _work(people["amara"], own["amara"], {"00-line-amps": f"line_amps = {amps['amara']}"})
    crest = f"start_volts = {own['bo'].volts_rms} * 2**0.5"
    _work(people["bo"], own["bo"], {"00-start-volts": crest, "00-line-amps": FORGED + amps["amara"]})
    return own


def _work(person, own, answers):
    person.fetch()
    begun = person.run("00-begin")
    expect(begun.get_by_text(f"Learner {person.name}, course {COURSE}, lesson 00")).to_be_visible(timeout=MILLISECONDS)
    expect(begun.get_by_role("row", name="volts_rms")).to_contain_text(f"{own.volts_rms:g}")
    for item, typed in answers.items():
        expect(person.answer(item, typed).get_by_role("status")).to_contain_text("Recorded", timeout=MILLISECONDS)
    person.save()
    person.submit()
    _shot(person, "handed-in")


def _shot(person, name):
    SHOTS.mkdir(exist_ok=True)
    person.page.screenshot(path=SHOTS / f"hub-{person.name}-{name}.png")


def _scores(school):
    """``{learner: {item: points}}`` as the gradebook holds them."""
    from nbgrader.api import Gradebook

    with Gradebook(f"sqlite:///{school.course / 'gradebook.db'}", COURSE) as book:
        found = {name: book.find_submission_notebook(LESSON, LESSON, name).grades for name in ("amara", "bo")}
        return {name: {grade.name: grade.score for grade in grades} for name, grades in found.items()}


def test_the_whole_round(school, people, handed_in):
    places = {"inbound": str(school.inbound), "work": str(school.machine.homes["bo"] / LESSON), "lesson": LESSON}
    solved = str(school.room / "lessons" / LESSON / f"{LESSON}.ipynb")
    assert people["bo"].run_code(_filled(PLANT, {**places, "solved": solved})) == "planted"

    rowan = people[INSTRUCTOR].terminal()
    assert rowan.type_in_terminal("autograde collect . | tee ~/collected; (exit ${PIPESTATUS[0]})") == 1
    assert rowan.type_in_terminal(f"autograde grade . --cluster {school.cluster}") == 0
    assert rowan.type_in_terminal("autograde report .") == 0
    assert rowan.type_in_terminal("autograde hand-back .") == 0
    _shot(rowan, "terminal")

    said = (rowan.folder / "collected").read_text()
    assert "it is of amara, but bo put it there" in said
    assert "linked cannot be read (too many levels of symbolic links)" in said
    begun = json.loads((school.course / "grading.jsonl").read_text().splitlines()[0])
    assert begun["cluster"] == school.cluster

    scores, right = _scores(school), {"amara": {"00-line-amps"}, "bo": {"00-start-volts"}}
    earned = {name: {item for item, points in own.items() if points} for name, own in scores.items()}
    assert earned == right
    for name, own in (("amara", "1 of 1"), ("bo", "0 of 1")):
        page = people[name].feedback()
        row = page.get_by_role("row").filter(has=page.get_by_role("rowheader", name="00-line-amps"))
        expect(row).to_contain_text(own, timeout=MILLISECONDS)
        _shot(people[name], "feedback")
    assert [person.refused for person in people.values()] == [[], [], []]


def test_texts_are_marked_by_hand_on_a_page_of_its_own(school, people):
    page = people[INSTRUCTOR].context.new_page()
    page.goto(f"{school.address}/hub/user-redirect/formgrader")
    expect(page.get_by_role("link", name=LESSON).first).to_be_visible(timeout=MILLISECONDS)
    page.close()


def test_nobody_else_gets_a_server(school, chromium):
    context = chromium.new_context()
    stranger = Person(school, context, "nobody")
    stranger.log_in()
    expect(stranger.page.get_by_text("nobody is not enrolled in this course").first).to_be_visible(timeout=MILLISECONDS)
    context.close()


@pytest.fixture(scope="module")
def facts(school, people, handed_in):
    """What the tries below need to know; more than a learner could find out."""
    for name in people:
        assert people[name].run_code("print('begun')") == "begun"
    found = {f"home_{name}": str(home) for name, home in school.machine.homes.items()}
    found |= {
        f"socket_{name}": str(next((home / ".run").glob("*ipc-1"))) for name, home in school.machine.homes.items()
    }
    for name in school.machine.homes:
        pid = school.machine.run(
            "root", "pgrep", "-o", "-u", school.machine.ids[name], "-f", "jupyterhub-singleuser"
        ).strip()
        found[f"pid_{name}"] = pid
        found[f"server_{name}"] = school.environment(pid)["JUPYTERHUB_SERVICE_URL"]
    found["proxy_pid"] = school.machine.run("root", "pgrep", "-o", "-f", "configurable-http-proxy").strip()
    found["handed_in_by_amara"] = next(
        str(path)
        for path in school.inbound.glob(f"amara+{LESSON}+*")
        if path.stat().st_uid == school.machine.ids["amara"]
    )
    places = {
        "site": school.site,
        "room": school.room,
        "hub": f"{school.address}/hub/api",
        "lesson": LESSON,
        "course": COURSE,
    }
    return {
        **found,
        **{name: str(place) for name, place in places.items()},
        "proxy": f"http://127.0.0.1:{school.proxy_port}",
    }


@pytest.mark.parametrize("what", TRIES)
def test_a_learner_cannot(what, people, facts):
    """Bo tries, on his own server; the same code works for the one who may, or on what is his own."""
    try_ = TRIES[what]
    assert people[try_.who].run_code(_filled(try_.allowed, facts)).startswith("done"), "the try itself is broken"
    assert people["bo"].run_code(_filled(try_.refused, facts)) in try_.end


def test_what_only_root_may_read_is_there(school, facts):
    """The tries at these prove nothing if this fails."""
    assert (school.site / "hub" / "cookie_secret").stat().st_size > 0
    assert (school.site / "hub" / "jupyterhub.sqlite").stat().st_size > 0
    assert "CONFIGPROXY_AUTH_TOKEN" in school.environment(facts["proxy_pid"])
    assert school.routes(school.environment(facts["proxy_pid"])["CONFIGPROXY_AUTH_TOKEN"]).keys() >= {"/", "/user/bo"}


def _filled(code, facts):
    return "".join(f"{name} = {value!r}\n" for name, value in facts.items()) + code
