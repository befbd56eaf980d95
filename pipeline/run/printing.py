"""Pages of a run as PDF, printed by a Chromium without a window: page numbers, repeated table heads, maps as their printed twins."""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from pipeline.run.doctor import BROWSER_VARIABLE, find_browser
from pipeline.run.fingerprint import file_sha256
from pipeline.run.plan import STAGES
from pipeline.run.records import write_whole

FOLDER, PAGE_RECORD = "pdf", "work/records/printed.txt"
NO_BROWSER = (f"No PDF was made: no Chromium or Chrome was found. Install one, or name the one you have in {BROWSER_VARIABLE}, and type the same command again; "
              "or open a report in any browser and print it to PDF there: it is laid out for A4.")
LONGEST_S = 180

# no window, and nothing from or to the network
_HEADLESS = ("--headless", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars", "--force-color-profile=srgb", "--no-first-run",
             "--disable-extensions", "--disable-background-networking", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer")
_FILE_LINK = re.compile(r'(<a\b[^>]*?)\shref="(?!#|[a-z]+:)[^"]*"')
_DATE = re.compile(rb"/(?:CreationDate|ModDate) ?\(D:[^)]*\)")


@dataclass(frozen=True)
class Printed:
    """What became of the PDFs. made, kept : paths relative to the results. told : one sentence for each thing that went wrong."""

    made: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    told: tuple[str, ...] = ()


def print_pages(folder: Path, browser: str | None) -> Printed:
    """Make pdf/NAME.pdf of every page of a finished run that has changed since its PDF was made, or has none.

    folder : of the results. browser : as from `find_browser` of the doctor; without one nothing is made, and PDFs of changed pages are removed.
    Nothing is raised for a page that cannot be printed: `told` says so, and its outdated PDF is removed.
    """
    made, kept, told = [], [], list(remove_outdated(folder)) if browser is None else []
    if browser is None:
        return Printed(told=(NO_BROWSER, *told))
    hashes = _read_hashes(folder)
    for page in _pages(folder):
        target = folder / FOLDER / f"{page.stem}.pdf"
        now = file_sha256(page)
        if target.exists() and hashes.get(page.name) == now:
            kept.append(f"{FOLDER}/{target.name}")
            continue
        try:
            print_page(page, target, browser)
        except (OSError, subprocess.SubprocessError) as fault:
            target.unlink(missing_ok=True)
            told.append(f"{page.name} could not be made a PDF with {browser} ({_last_line(fault)}). The page itself is whole; open it in a browser and print it there.")
            continue
        hashes[page.name] = now
        made.append(f"{FOLDER}/{target.name}")
    _write_hashes(folder, hashes)
    return Printed(tuple(made), tuple(kept), tuple(told))


def remove_outdated(folder: Path) -> list[str]:
    """Remove each PDF whose page has changed since, so that it cannot be taken for the present result; a sentence for each."""
    hashes, told = _read_hashes(folder), []
    for target in sorted((folder / FOLDER).glob("*.pdf")):
        page = folder / f"{target.stem}.html"
        if page.name in hashes and (not page.exists() or file_sha256(page) != hashes[page.name]):
            target.unlink()
            told.append(f"{FOLDER}/{target.name} was removed: its page has changed since. With --pdf it is made again.")
    return told


def print_page(page: Path, target: Path, browser: str) -> None:
    """Print one page to a PDF file, whole or not at all. OSError or subprocess.SubprocessError when the browser fails.

    Links to files beside the page are left out, since in a PDF they would name a folder of this machine. The dates that Chromium
    writes are taken out, so that one page printed twice by one browser gives the same bytes.
    """
    with tempfile.TemporaryDirectory(prefix="fixledger-print-") as name:
        scratch = Path(name)
        (scratch / page.name).write_text(_FILE_LINK.sub(r"\1", page.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
        made = scratch / "page.pdf"
        command = [browser, *_HEADLESS, *_as_root(), f"--user-data-dir={scratch / 'profile'}", f"--print-to-pdf={made}", (scratch / page.name).as_uri()]
        subprocess.run(command, check=True, capture_output=True, timeout=LONGEST_S, cwd=scratch)
        if not made.exists() or not made.read_bytes().startswith(b"%PDF"):
            raise OSError("the browser ended without writing a PDF")
        target.parent.mkdir(parents=True, exist_ok=True)
        beside = target.with_name(f".{target.name}.part")
        beside.write_bytes(without_dates(made.read_bytes()))
        os.replace(beside, target)


def _as_root() -> list[str]:
    """Chromium has no sandbox for the superuser and does not start unless told so; the page it opens is our own and asks for nothing."""
    return ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []


def without_dates(content: bytes) -> bytes:
    """A PDF without its dates; blanks keep every byte offset that the file names."""
    return _DATE.sub(lambda found: b" " * len(found.group(0)), content)


def _pages(folder: Path) -> list[Path]:
    """The pages of all stages that are there, in order."""
    return [page for page in (folder / f"{stage.name}.html" for stage in STAGES) if page.exists()]


def _read_hashes(folder: Path) -> dict[str, str]:
    """Name of a page -> hash that it had when its PDF was made."""
    try:
        lines = (folder / PAGE_RECORD).read_text(encoding="utf-8").splitlines()
    except OSError:
        return {}
    return {page: found for found, _, page in (line.partition("  ") for line in lines) if page}


def _write_hashes(folder: Path, hashes: dict[str, str]) -> None:
    write_whole(folder / PAGE_RECORD, "".join(f"{found}  {page}\n" for page, found in sorted(hashes.items())))


def _last_line(fault: Exception) -> str:
    said = getattr(fault, "stderr", None) or b""
    lines = [line for line in said.decode("utf-8", "replace").splitlines() if line.strip()]
    return lines[-1][:200] if lines else str(fault)[:200]
