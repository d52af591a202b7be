"""What one learner tries on another's things: for each, code that works where it may, and the same code where it may not."""

from dataclasses import dataclass

REFUSED = "PermissionError"
_WEB = """
import json, os, urllib.error, urllib.request
def ask(address, data=None, token=os.environ["JUPYTERHUB_API_TOKEN"]):
    request = urllib.request.Request(address, data, {"Authorization": f"token {token}"} if token else {})
    try:
        print("done" if urllib.request.urlopen(request, timeout=20).status < 300 else "odd")
    except urllib.error.HTTPError as error:
        print(error.code)
"""


@dataclass(frozen=True)
class Try:
    """``allowed`` prints done for ``who``; ``refused`` must end, for bo, in one of ``end``."""

    allowed: str
    refused: str
    who: str = "bo"
    end: tuple = (REFUSED,)


def _own_and_other(code, **more):
    """``code`` with NAME in place of whose thing it is: bo's own works, amara's does not."""
    return Try(code.replace("NAME", "bo"), code.replace("NAME", "amara"), **more)


def _instructors(code, **more):
    """``code`` that works for the instructor only."""
    return Try(code, code, who="rowan", **more)


def _read(place):
    return f"print('done', open(f'{place}', 'rb').read(1) and '')"


TRIES = {
    "list another's home": _own_and_other("import os; print('done', len(os.listdir(home_NAME)))"),
    "read another's notebook": _own_and_other(_read("{home_NAME}/{lesson}/{lesson}.ipynb")),
    "write into another's home": _own_and_other("open(f'{home_NAME}/left', 'w'); print('done')"),
    "see another's kernels": _own_and_other("import os; print('done', os.listdir(f'{home_NAME}/.run')[0])"),
    "connect to another's kernel": _own_and_other(
        "import socket; socket.socket(socket.AF_UNIX).connect(socket_NAME); print('done')"
    ),
    "read the environment of another's server": _own_and_other(_read("/proc/{pid_NAME}/environ")),
    "stop another's server": _own_and_other("import os; os.kill(int(pid_NAME), 0); print('done')"),
    "ask another's server with the own token": _own_and_other(f"{_WEB}ask(server_NAME + 'api/contents')", end=("403",)),
    "ask another's server without a token": Try(
        f"{_WEB}ask(server_bo + 'api/contents')", f"{_WEB}ask(server_amara + 'api/contents', token='')", end=("403",)
    ),
    "ask the hub about another": Try(
        f"{_WEB}ask(hub + '/user')", f"{_WEB}ask(hub + '/users/amara')", end=("403", "404")
    ),
    "open a terminal": Try(
        f"{_WEB}ask(server_rowan + 'api/terminals', b'{{}}')",
        f"{_WEB}ask(server_bo + 'api/terminals', b'{{}}')",
        who="rowan",
        end=("403", "404"),
    ),
    "list who has handed in": _instructors(
        "import os; print('done', len(os.listdir(f'{site}/exchange/{course}/inbound')))"
    ),
    "find another's hand-in": _instructors(
        "import glob; print('done', glob.glob(f'{site}/exchange/{course}/inbound/amara+*')[0])", end=("IndexError",)
    ),
    "take another's hand-in away": Try(
        "import os; place = f'{site}/exchange/{course}/inbound'\n"
        "os.mkdir(f'{place}/bo-own'); os.rename(f'{place}/bo-own', f'{place}/bo-two'); os.rmdir(f'{place}/bo-two'); print('done')",
        "import os; os.rename(handed_in_by_amara, handed_in_by_amara + '-gone')",
    ),
    "list the feedback": _instructors("import os; os.listdir(f'{site}/exchange/{course}/feedback'); print('done')"),
    "change a released lesson": Try(
        _read("{site}/exchange/{course}/outbound/{lesson}/{lesson}.ipynb"),
        "open(f'{site}/exchange/{course}/outbound/{lesson}/{lesson}.ipynb', 'a')",
    ),
    "put another exchange in place of this": Try(
        "import os; os.mkdir(f'{home_bo}/one'); os.rename(f'{home_bo}/one', f'{home_bo}/two'); print('done')",
        "import os; os.rename(f'{site}/exchange/{course}', f'{site}/exchange/gone')",
    ),
    "add a course of their own": Try(
        "import os; os.mkdir(f'{home_bo}/three'); print('done')", "import os; os.mkdir(f'{site}/exchange/three')"
    ),
    "change the settings of everybody": Try(
        _read("{site}/settings/learner/config/jupyter_lab_config.json"),
        "open(f'{site}/settings/learner/config/jupyter_lab_config.json', 'a')",
    ),
    "list the course folder": _instructors("import os; print('done', os.listdir(f'{site}/course'))"),
    "read the gradebook": _instructors(_read("{site}/course/gradebook.db")),
    "read the roster": _instructors(_read("{site}/course/roster.csv")),
    "import the grading room": _instructors("import autograde.keys; print('done')", end=("ModuleNotFoundError",)),
    "read the keys": _instructors(_read("{room}/autograde/keys/lesson_00.py")),
    "read the solutions": _instructors(_read("{room}/lessons/{lesson}/{lesson}.ipynb")),
    "run the grading room's Python": _instructors(
        "import subprocess; subprocess.run([f'{room}/.venv/bin/python', '-c', '']); print('done')"
    ),
    "read the hub's cookie secret": Try(_read("{home_bo}/{lesson}/{lesson}.ipynb"), _read("{site}/hub/cookie_secret")),
    "read the hub's database": Try(_read("{home_bo}/{lesson}/{lesson}.ipynb"), _read("{site}/hub/jupyterhub.sqlite")),
    "read the proxy's token": Try(_read("/proc/{pid_bo}/environ"), _read("/proc/{proxy_pid}/environ")),
    "ask the proxy for its routes": Try(f"{_WEB}ask(hub + '/user')", f"{_WEB}ask(proxy + '/api/routes')", end=("403",)),
}
