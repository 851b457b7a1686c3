"""Make the README's pictures of the page: a question in a drafted sample, and an attempt over it.

Run from the root of the project, with the extra `test` installed and Debian's chromium:
``python .readme/make_page_pictures.py``.
"""

import io
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "review")]

TAKE = "ticket_window"
COLOURS = 48
BENT = "page.store.sheet.notes.find(note => note.techniques.some(one => one.kind === 'bend')).id"
SHOTS = {
    "page_question.png": (1280, 800, "light", f"page.look.show({BENT}, 'technique')"),
    "page_narrow.png": (390, 760, "dark", "page.player.play(9.6).then(() => 0)"),
}
ATTEMPT_SHOT = ("page_attempt.png", (1280, 1020, "light", "page.attempt.traces"))


def main() -> None:
    """Draft the sample, open the page and take the pictures."""
    from browsers import ARGUMENTS, CHROMIUM, Served, open_page
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from transcriber.draft import write_draft
    from transcriber.drafting import draft_take

    sample = ROOT / "sample_audio_generated" / f"{TAKE}.flac"
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        draft = Path(folder) / f"{TAKE}.draft.json"
        write_draft(draft_take(sample), draft)
        answer = _answered(draft, Path(folder))
        served, over = Served(draft, sample), Served(draft, sample, answer)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        shots = [(served, *shot) for shot in SHOTS.items()] + [(over, *ATTEMPT_SHOT)]
        for server, name, (width, height, scheme, act) in shots:
            page = open_page(browser, server.address, width=width, scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(act)
            page.wait_for_timeout(1500)
            picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
            small = picture.quantize(COLOURS, dither=Image.Dither.NONE)
            small.save(ROOT / ".readme" / name, optimize=True)
            page.context.close()
        browser.close()
        served.stop()
        over.stop()


def _answered(draft: Path, folder: Path) -> Path:
    """Check the sample's attempt; return the answer, its recording beside it."""
    from transcriber.attempts import checked_attempt

    attempt = folder / f"{TAKE}_attempt.flac"
    attempt.write_bytes((ROOT / "sample_audio_generated" / attempt.name).read_bytes())
    answer = folder / f"{TAKE}_attempt.check.json"
    answer.write_bytes(checked_attempt(attempt, draft, answer).file)
    return answer


if __name__ == "__main__":
    main()
