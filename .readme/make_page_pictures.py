"""Make the README's pictures of the page: a question open in a drafted sample, wide and narrow.

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


def main() -> None:
    """Draft the sample, open the page and take the pictures."""
    from browsers import ARGUMENTS, CHROMIUM, Served, open_page
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from transcriber.draft import write_draft
    from transcriber.pipeline import draft_take

    sample = ROOT / "sample_audio_generated" / f"{TAKE}.flac"
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        draft = Path(folder) / f"{TAKE}.draft.json"
        write_draft(draft_take(sample), draft)
        served = Served(draft, sample)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        for name, (width, height, scheme, act) in SHOTS.items():
            page = open_page(browser, served.address, width=width, scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(act)
            page.wait_for_timeout(1500)
            picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
            small = picture.quantize(COLOURS, dither=Image.Dither.NONE)
            small.save(ROOT / ".readme" / name, optimize=True)
            page.context.close()
        browser.close()
        served.stop()


if __name__ == "__main__":
    main()
