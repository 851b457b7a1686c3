"""One self-contained page to read, hear and practise with: no server, no network, sound included.

The modules of the page are put into one script: their imports and exports are lines of a fixed form, so
taking these away and setting the modules one after the other is all there is to it.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from typing import Any

from transcriber.review.app import page_files
from transcriber.review.desk import Desk
from transcriber.review.serving import ReviewSettings, find_take

# In the order in which they need each other.
_MODULES = (
    "dom.js", "signs.js", "score.js", "player.js", "view.js", "fields.js", "hearing.js", "attempt.js",
    "facts.js", "practice.js",
)  # fmt: skip
_IMPORT = re.compile(r"^import [^;]*;\n", flags=re.MULTILINE)
_EXPORT = re.compile(r"^export ", flags=re.MULTILINE)
_FONT = 'url("vexflow/bravura.woff2") format("woff2")'
_NOT_NEEDED = ("alternatives",)


def standalone_page(settings: ReviewSettings) -> bytes:
    """Write the page.

    Parameters
    ----------
    settings : ReviewSettings

    Returns
    -------
    bytes
        HTML in UTF-8. Questions are left out; the marks on unsure notes stay. An attempt named in the
        settings stands over the line, and can be heard.

    Raises
    ------
    DraftError, AudioError
        As for opening the page.
    """
    desk = Desk(settings.draft, find_take(settings), settings.attempt)
    draft, _ = desk.draft()
    sheet = {**desk.sheet(), "questions": []}
    sheet["notes"] = [
        {key: value for key, value in note.items() if key not in _NOT_NEEDED} for note in sheet["notes"]
    ]
    sounds: dict[str, Any] = {}
    for kind in _kinds(desk, sheet):
        data, media_type = (
            desk.attempt().compressed() if kind == "attempt" else desk.sounds.compressed(kind, draft)
        )
        sounds[kind] = {"type": media_type, "base64": base64.b64encode(data).decode("ascii")}
    told = {"draft": sheet, "sounds": sounds}
    if settings.attempt is not None:
        told["laid_over"] = desk.attempt().laid_over(draft)
    return _page(told).encode("utf-8")


def _page(told: dict[str, Any]) -> str:
    files = page_files()
    font = base64.b64encode(files["vexflow/bravura.woff2"]).decode("ascii")
    style = (
        files["style.css"].decode().replace(_FONT, f'url("data:font/woff2;base64,{font}") format("woff2")')
    )
    vexflow = files["vexflow/vexflow-core.js"].decode()
    own = "(() => {\n" + "\n".join(_plain(files[name].decode()) for name in _MODULES) + "\n})();"
    scripts = " ".join(_hash(script) for script in (vexflow, own))
    policy = (
        f"default-src 'none'; script-src {scripts}; style-src {_hash(style)}; font-src data:; "
        "media-src blob:; base-uri 'none'; form-action 'none'"
    )
    return "\n".join(
        (
            '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="color-scheme" content="light dark">',
            f"<title>Draft</title>\n<style>{style}</style>\n</head>\n<body>",
            '<header id="head"><div><h1 id="title">Draft</h1><p id="facts"></p></div></header>',
            '<div id="notices" role="status"></div>',
            '<section id="attempt" aria-label="The attempt" hidden></section>',
            '<main id="sheet" tabindex="-1" aria-label="Sheet"></main>',
            '<p class="small" id="practice">Play slowly first, rest your hands between rounds, and stop if '
            "something hurts.</p>",
            '<section id="hearing" aria-label="Hear"></section>',
            '<div id="spoken" class="unseen" aria-live="polite"></div>',
            *(
                f'<script type="application/json" id="{name}">{_json(value)}</script>'
                for name, value in told.items()
            ),
            f"<script>{vexflow}</script>\n<script>{own}</script>",
            _notices(),
            "</body>\n</html>\n",
        )
    )


def _kinds(desk: Desk, sheet: dict[str, Any]) -> tuple[str, ...]:
    """What there is to hear."""
    take = ("take",) if desk.sounds.has_take else ()
    return (*take, "draft", *(("attempt",) if sheet["attempt"] and sheet["attempt"]["has_sound"] else ()))


def _plain(module: str) -> str:
    return _EXPORT.sub("", _IMPORT.sub("", module))


def _json(value: Any) -> str:
    """Write JSON that no part of can end the element it stands in."""
    return json.dumps(value, ensure_ascii=False).replace("<", "\\u003c")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _notices() -> str:
    """Licences of what others wrote, which the page carries."""
    from importlib import resources

    folder = resources.files("transcriber.review").joinpath("page").joinpath("vexflow")
    texts = [folder.joinpath(name).read_text("utf-8") for name in ("LICENSE", "bravura-LICENSE.txt")]
    return "<!--\n" + "\n\n".join(texts).replace("--", "- -") + "\n-->"
