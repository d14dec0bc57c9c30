"""Visit a recorded page as an operator, and compare what it looks like with kept pictures."""

import io
import json
import subprocess
from pathlib import Path

from PIL import Image, ImageChops
from playwright.sync_api import Browser, Page

from tests.support.page_server import PHRASE, RecordedPage

PICTURES = Path(__file__).parents[1] / "page" / "pictures"
MADE_WITH = PICTURES / "made_with.json"
COLOURS = 256
NOTICED = 40
"""Of 255 in any channel; chosen: above what fewer colours and smoothed edges make."""
SHARE_MAX = 0.002
"""Of all pixels; chosen: a moved word is more, another hint of the same font less."""


def visit(
    browser: Browser,
    recorded: RecordedPage,
    size: tuple[int, int] = (1440, 900),
    theme: str = "light",
    *,
    signed_in: bool = True,
    contrast: str | None = None,
) -> Page:
    """Open the page at a size and in a theme, signed in as the mate."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if theme == "dark" else "light",
        contrast="more" if contrast == "more" else None,
        reduced_motion="reduce",
    )
    if signed_in:
        data = json.dumps({"name": "mate", "phrase": PHRASE})
        context.request.post(f"{recorded.address}api/session", data=data)
    page = context.new_page()
    page.goto(recorded.address)
    page.locator("#cell svg").wait_for()
    return page


def machine() -> dict[str, str]:
    """Return what a picture depends on besides the page: the browser and its font."""
    words = (("chromium", ["/usr/bin/chromium", "--version"]), ("font", ["fc-match", "sans-serif"]))
    found = {}
    for name, command in words:
        said = subprocess.run(command, capture_output=True, text=True, check=False)
        found[name] = said.stdout.strip()
    return found


def picture(page: Page) -> Image.Image:
    """Return what is on the screen, at half its size: finer than a person notices from afar."""
    whole = Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")
    return whole.resize((whole.width // 2, whole.height // 2), Image.Resampling.BOX)


def keep(name: str, made: Image.Image) -> None:
    """Keep a picture, in few colours."""
    PICTURES.mkdir(exist_ok=True)
    made.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE).save(
        PICTURES / f"{name}.png", optimize=True
    )


def changed_share(name: str, made: Image.Image) -> float:
    """Return the share of pixels that differ from the kept picture, 1 where sizes do."""
    kept = Image.open(PICTURES / f"{name}.png").convert("RGB")
    if kept.size != made.size:
        return 1.0
    bands = ImageChops.difference(kept, made).split()
    worst = ImageChops.lighter(ImageChops.lighter(bands[0], bands[1]), bands[2])
    histogram = worst.histogram()
    return sum(histogram[NOTICED:]) / (made.width * made.height)
