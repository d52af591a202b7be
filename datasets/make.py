"""Make the course's captures and tables, and `datapackage.json` that describes them (Data Package standard 2.0).

    uv run python datasets/make.py [FOLDER]

The same on every run: the noise of a capture is seeded by its name. Everything is invented, at the Fennel Street Library.
"""

import csv
import io
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from course_captures import Recipe, recipes
from course_tables import Table, tables

from halfcycle import Waveform
from halfcycle.captures import write_capture

PROFILES = "https://datapackage.org/profiles/2.0/"
LICENCE = {
    "name": "CC-BY-4.0",
    "title": "Creative Commons Attribution 4.0",
    "path": "https://creativecommons.org/licenses/by/4.0/",
}
OTHER_SCOPE = "boiler_room_other_scope"
OTHER_HEADING = "Record;boiler room\nSample interval (µs);40\nTime;Channel 1\n(ms);(mV)\n"


def main(folder: Path) -> None:
    """Write everything into `folder`."""
    resources = [*_captures(folder), *_tables(folder)]
    package = {
        "$schema": PROFILES + "datapackage.json",
        "name": "half-cycle-captures",
        "title": "Half Cycle: captures and tables of the 24 VAC control side",
        "description": "Synthetic oscilloscope captures from the invented Fennel Street Library, and the tables that the "
        "course uses. Made by `uv run python datasets/make.py`; nothing here was measured on a real installation.",
        "licenses": [LICENCE],
        "resources": resources,
    }
    text = json.dumps(package, ensure_ascii=False, indent=2)
    _write(folder / "datapackage.json", text + "\n")


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def _captures(folder: Path) -> Iterator[dict]:
    for recipe in recipes():
        wave = recipe.scope.capture(recipe.wave(), recipe.name)
        file = io.StringIO()
        write_capture(wave, file)
        _write(folder / f"captures/{recipe.name}.csv", file.getvalue())
        yield _described(recipe, wave)
        if recipe.name == "boiler_room_sine":
            yield _from_another_scope(folder, recipe, wave)


def _described(recipe: Recipe, wave: Waveform) -> dict:
    settings = {name: value for name, value in asdict(recipe.scope).items() if value is not None}
    return {
        **_resource(f"captures/{recipe.name}.csv", recipe.title, f"{recipe.circuit}."),
        "scope": settings | {"noise_seeded_by": recipe.name},
        "rows": len(wave),
        "schema": {"fields": _capture_fields(("time (s)", "s"), (f"value ({wave.unit})", wave.unit))},
    }


def _from_another_scope(folder: Path, recipe: Recipe, wave: Waveform) -> dict:
    """The same record as a scope writes it that parts by semicolons, in ms and mV with decimal commas."""
    rows = (f"{1e3 * s:.2f};{1e3 * v:.1f}\n".replace(".", ",") for s, v in zip(wave.seconds, wave.values, strict=True))
    _write(folder / f"captures/{OTHER_SCOPE}.csv", OTHER_HEADING + "".join(rows))
    fields = _capture_fields(("Time (ms)", "ms"), ("Channel 1 (mV)", "mV"))
    return {
        **_resource(f"captures/{OTHER_SCOPE}.csv", f"{recipe.title}, written by another scope", f"{recipe.circuit}."),
        "scope": _described(recipe, wave)["scope"],
        "rows": len(wave),
        "dialect": {
            "$schema": PROFILES + "tabledialect.json",
            "delimiter": ";",
            "commentRows": [1, 2],
            "headerRows": [3, 4],
        },
        "schema": {"fields": [field | {"decimalChar": ","} for field in fields]},
    }


def _capture_fields(time: tuple[str, str], value: tuple[str, str]) -> list[dict]:
    words = "time from the trigger", "what the channel shows"
    return [
        {"name": name, "type": "number", "unit": unit, "description": description}
        for (name, unit), description in zip((time, value), words, strict=True)
    ]


def _tables(folder: Path) -> Iterator[dict]:
    for table in tables():
        file = io.StringIO()
        csv.writer(file, lineterminator="\n").writerows([[field.name for field in table.fields], *table.rows])
        _write(folder / f"tables/{table.name}.csv", file.getvalue())
        yield _described_table(table)


def _described_table(table: Table) -> dict:
    fields = [
        {"name": field.name, "type": field.type, "description": field.words}
        | ({"unit": field.unit} if field.unit else {})
        for field in table.fields
    ]
    return {
        **_resource(f"tables/{table.name}.csv", table.title, f"Made: {table.made}."),
        "sources": [{"title": source} for source in table.sources],
        "rows": len(table.rows),
        "schema": {"fields": fields},
    }


def _resource(path: str, title: str, description: str) -> dict:
    return {
        "name": Path(path).stem.replace("_", "-"),
        "type": "table",
        "path": path,
        "title": title,
        "description": description[0].upper() + description[1:],
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
    }


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
