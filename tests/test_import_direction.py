"""The one-way street: who may import whom, who may print, who may open files."""

import ast
from pathlib import Path

import pytest

import transcriber

PACKAGE = Path(transcriber.__file__).resolve().parent
STAGES = {
    "analysis",
    "audio",
    "listening",
    "notation",
    "fretboard",
    "draft",
    "export",
    "practice",
    "synthesis",
}

# What each part may import of the package, besides itself. A stage never imports another stage;
# exporters see the draft and nothing else.
MAY_IMPORT = {
    "errors": set(),
    "records": set(),
    "models": {"errors"},
    "files": {"errors"},
    "settings": {"errors", "records"},
    "settings_words": {"errors", "records", "settings"},
    "audio": {"errors", "records"},
    "listening": {"errors", "records", "models"},
    "notation": {"errors", "records", "models"},
    "fretboard": {"errors", "records", "models"},
    "analysis": {"errors", "records", "models"},
    "synthesis": {"errors", "records", "models"},
    "draft": {"errors", "records", "files"},
    "export": {"errors", "records", "settings", "draft"},
    "practice": {"errors", "records", "models", "draft"},
    "stages": {"records"} | STAGES,
    # Callers of the stages.
    "instrument": {"errors", "records", "settings", "stages"} | STAGES,
    "drafting": {"errors", "records", "models", "settings", "explain", "instrument", "stages", "__init__"}
    | STAGES,
    "draft_files": {"records", "settings", "files", "explain", "drafting"} | STAGES,
    "rendering": {"synthesis"},
    "explain": {"errors", "records"} | STAGES,
    "rework": {"errors", "records"} | STAGES,
    "attempts": {"errors", "records", "stages"} | STAGES,
    "loops": {"errors", "records", "files", "explain", "rework", "stages"} | STAGES,
    "lessons": {"errors", "records", "settings", "files", "explain", "stages", "loops", "lesson_list"}
    | STAGES,
    "lesson_list": {"errors", "files"},
    "review": {
        "errors",
        "records",
        "settings",
        "settings_words",
        "files",
        "draft",
        "explain",
        "rework",
        "attempts",
    },
    # The draft is the document that everybody downstream sees.
    "cli": {
        "errors",
        "records",
        "settings",
        "settings_words",
        "files",
        "stages",
        "instrument",
        "drafting",
        "draft_files",
        "rendering",
        "attempts",
        "lessons",
        "lesson_list",
        "loops",
        "draft",
        "review",
        "__init__",
    },
    "__main__": {"cli"},
    "__init__": {"errors", "records", "settings", "draft", "drafting"},
}
# Besides these nobody opens files; `fretboard` and `synthesis` read one kind of document each.
OPENERS = {
    "audio",
    "draft",
    "models",
    "files",
    "fretboard/instruments.py",
    "synthesis/line_file.py",
    # The page's own files and their licences, which lie in the package.
    "review/app.py",
    "review/standalone.py",
    # Pages that LilyPond has just written, in a temporary folder.
    "export/sheet/engrave.py",
    # A picture in memory.
    "export/sheet/ground.py",
    # What an earlier lesson wrote, by its own list.
    "lesson_list.py",
    # Earlier answers to attempts, which are its own documents.
    "practice/progress.py",
    "practice/answer_file.py",
}
OPENING = {"open", "read_text", "read_bytes", "SoundFile", "fdopen"}
WRITERS = {"files", "draft"}
WRITING = {"write_text", "write_bytes"}


def modules():
    return sorted(PACKAGE.rglob("*.py"))


def part_of(path):
    relative = path.relative_to(PACKAGE)
    return relative.parts[0].removesuffix(".py")


def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def imported_parts(path):
    """Parts of the package that a module imports, at its top or inside functions, with line numbers."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = path.relative_to(PACKAGE).parts[: -node.level]
            yield node.lineno, (*base, *(node.module or "").split("."))[0]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "transcriber":
            inside = node.module.split(".")[1:]
            for alias in node.names:
                yield node.lineno, (inside or _top_name(alias.name))[0]
        elif isinstance(node, ast.Import):
            for alias in node.names:
                words = alias.name.split(".")
                if words[0] == "transcriber":
                    yield node.lineno, (words[1:] or ["__init__"])[0]


def _top_name(name):
    is_part = (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").is_file()
    return [name] if is_part else ["__init__"]


def outside_imports(path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level:
            yield node.module.split(".")[0]


def called_names(path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            function = node.func
            name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
            yield node.lineno, name


def test_every_part_of_the_package_has_a_rule():
    assert {part_of(path) for path in modules()} <= set(MAY_IMPORT)


def test_no_rule_allows_a_way_back():
    """The rules themselves have no cycle, `__init__` apart: it only names what it hands on."""
    rules = {part: allowed - {"__init__"} for part, allowed in MAY_IMPORT.items() if part != "__init__"}
    done = set()
    while rules:
        free = [part for part, allowed in rules.items() if allowed <= done]
        assert free, f"cycle among {sorted(rules)}"
        done |= set(free)
        for part in free:
            del rules[part]


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_go_one_way(path):
    part = part_of(path)
    allowed = MAY_IMPORT.get(part, set()) | {part}
    wrong = [f"line {line} imports {other}" for line, other in imported_parts(path) if other not in allowed]
    assert wrong == []


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_only_the_command_line_prints(path):
    if part_of(path) == "cli":
        return
    assert [line for line, name in called_names(path) if name in {"print", "basicConfig"}] == []
    assert not set(outside_imports(path)) & {"rich", "argparse"}


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_only_the_gates_open_files(path):
    relative = path.relative_to(PACKAGE).as_posix()
    calls = list(called_names(path))
    if part_of(path) not in OPENERS and relative not in OPENERS and part_of(path) != "cli":
        assert [f"line {line}: {name}" for line, name in calls if name in OPENING] == []
    if part_of(path) not in WRITERS:
        assert [f"line {line}: {name}" for line, name in calls if name in WRITING] == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("from transcriber.audio import read_take", ["audio"]),
        ("import transcriber.audio.reading", ["audio"]),
        ("from transcriber import audio, errors", ["audio", "errors"]),
        ("from transcriber import draft_take", ["__init__"]),
        ("from ..audio import read_take", ["audio"]),
        ("def late():\n    from transcriber.cli import run", ["cli"]),
    ],
)
def test_the_check_sees_every_way_to_import(tmp_path, monkeypatch, source, found):
    path = PACKAGE / "listening" / "imagined.py"
    monkeypatch.setitem(globals(), "tree_of", lambda _path: ast.parse(source))
    assert [part for _, part in imported_parts(path)] == found
