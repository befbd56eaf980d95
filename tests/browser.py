"""Opens a page in Debian's Chromium with the network off, and says what a reader's browser would have noticed."""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

LAUNCH = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars", "--force-color-profile=srgb"]


@dataclass
class Seen:
    """What one visit showed: requests beyond the file itself, console errors, policy violations, and drawn maps."""

    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    violations: list[str] = field(default_factory=list)

    def assert_quiet(self) -> None:
        """Fail if the page asked for anything, complained, or broke its own security policy."""
        assert self.requests == [], f"the page asked for {self.requests[:3]}"
        assert self.errors == [], f"the console shows {self.errors[:3]}"
        assert self.violations == [], f"the policy was broken by {self.violations[:3]}"


def chromium_path() -> str:
    """The browser of this machine; the test is skipped where there is none."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        pytest.skip("no Chromium on this machine, so the page was not opened")
    return found


@contextmanager
def browser():
    """A running Chromium, for several pages."""
    executable = chromium_path()
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed, so the page was not opened")
    with sync_api.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=executable, args=LAUNCH)
        yield running
        running.close()


@contextmanager
def opened(running, file: Path, *, width_px: int = 1300, height_px: int = 900, dark: bool = False, scripts: bool = True, paper: bool = False):
    """The page of a file and what was seen while it opened: (page, Seen). paper=True shows it as printed."""
    context = running.new_context(
        viewport={"width": width_px, "height": height_px}, offline=True, java_script_enabled=scripts,
        color_scheme="dark" if dark else "light", reduced_motion="reduce", accept_downloads=False,
    )
    page = context.new_page()
    seen = Seen()
    address = Path(file).resolve().as_uri()
    page.on("request", lambda request: None if request.url == address or request.url.startswith("data:") else seen.requests.append(request.url))
    page.on("console", lambda message: seen.errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: seen.errors.append(str(error)))
    if scripts:
        page.add_init_script("window.policyViolations=[];document.addEventListener('securitypolicyviolation',e=>window.policyViolations.push(e.violatedDirective+' '+e.blockedURI))")
    if paper:
        page.emulate_media(media="print")
    page.goto(address, wait_until="load")
    if scripts:
        page.wait_for_timeout(250)
        seen.violations += page.evaluate("window.policyViolations")
    try:
        yield page, seen
    finally:
        context.close()


def drawn_maps(page) -> tuple[int, int]:
    """(maps in the page, maps with at least one mark or picture drawn inside a visible frame)."""
    return tuple(page.evaluate("""() => {
        const sheets = Array.from(document.querySelectorAll('.sheet'));
        const drawn = sheets.filter(sheet => sheet.querySelector('.leaflet-container') && sheet.querySelector('.leaflet-container').clientHeight > 100
            && Array.from(sheet.querySelectorAll('.leaflet-overlay-pane path, .leaflet-ground-pane img')).some(mark => mark.tagName === 'IMG' || (mark.getAttribute('d') || '').length > 10));
        return [sheets.length, drawn.length];
    }"""))


def accessibility_faults(page) -> list[str]:
    """Rules of axe-core that the page breaks, each with the first places."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed, so accessibility was not checked")
    found = axe.Axe().run(page).response["violations"]
    return [f"{fault['id']}: {fault['help']} at {[node['target'] for node in fault['nodes'][:3]]}" for fault in found]


def overflow_px(page) -> int:
    """How far the page is wider than its window; 0 when nothing sticks out."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
