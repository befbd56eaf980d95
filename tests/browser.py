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


def overlapping(page) -> list[str]:
    """Blocks of text, tables and pictures that lie on one another, and cells whose text runs out of them, each as a few words."""
    return page.evaluate("""() => {
        const wanted = 'h1,h2,h3,h4,p,li,dt,dd,figcaption,summary,pre,.table-scroll,.drawn,.sheet,.contents-head', seen = each => each.checkVisibility() && each.getClientRects().length;
        const leaves = Array.from(document.querySelectorAll(wanted)).filter(each => seen(each) && !each.closest('.sheet .sheet-map, .table-scroll *, .sheet *') && !each.querySelector(wanted) && each.textContent.trim() && !each.closest('.skip'));
        const boxes = leaves.map(each => [each, each.getBoundingClientRect()]).filter(([, box]) => box.width && box.height).sort((a, b) => a[1].top - b[1].top), faults = [];
        boxes.forEach(([one, box], at) => { for (let next = at + 1; next < boxes.length && boxes[next][1].top < box.bottom - 2; next++) {
            const [other, its] = boxes[next];
            if (its.left < box.right - 2 && its.right > box.left + 2) faults.push(`${one.textContent.trim().slice(0, 40)} | ${other.textContent.trim().slice(0, 40)}`); } });
        document.querySelectorAll('th, td').forEach(cell => { if (seen(cell) && cell.scrollWidth > cell.clientWidth + 1) faults.push(`runs out of its cell: ${cell.textContent.trim().slice(0, 40)}`); });
        return faults;
    }""")


def walked_by_tab(page, most: int = 3000) -> tuple[list[str], list[str], list[str]]:
    """What Tab reaches: (elements that can be worked and are never reached, those without a visible focus mark, those without a name)."""
    page.evaluate("""() => {
        document.querySelectorAll('tbody tr:nth-child(n+6)').forEach(row => row.remove());      // rows are alike; five of a table are walked
        const able = 'a[href], button:not([disabled]), input, select:not([disabled]), summary, [tabindex="0"]';
        window.walk = { wanted: Array.from(document.querySelectorAll(able)).filter(each => each.checkVisibility({ visibilityProperty: true }) && each.getClientRects().length), reached: new Set(), unmarked: [], unnamed: [] };
        window.walk.told = each => `${each.tagName.toLowerCase()} ${(each.textContent || '').trim().slice(0, 40)} ${each.className && each.className.baseVal === undefined ? each.className : ''}`;
        window.walk.name = each => { const by = each.getAttribute('aria-labelledby'); return each.getAttribute('aria-label') || (by && document.getElementById(by).textContent) || (each.labels && each.labels.length && each.labels[0].textContent)
            || each.textContent || (each.querySelector('[aria-label]') || { getAttribute: () => '' }).getAttribute('aria-label') || (each.querySelector('img[alt]') || { alt: '' }).alt; };
        document.activeElement.blur(); window.scrollTo(0, 0);
    }""")
    for _ in range(most):
        page.keyboard.press("Tab")
        if not page.evaluate("""() => {
            const each = document.activeElement, walk = window.walk;
            if (!each || each === document.body || walk.reached.has(each)) return false;
            const look = getComputedStyle(each);
            walk.reached.add(each);
            if (look.outlineStyle === 'none' || parseFloat(look.outlineWidth) < 1) walk.unmarked.push(walk.told(each));
            if (!(walk.name(each) || '').trim()) walk.unnamed.push(walk.told(each));
            return true; }"""):
            break
    return tuple(page.evaluate("[walk.wanted.filter(each => !walk.reached.has(each)).map(walk.told), walk.unmarked, walk.unnamed]"))
