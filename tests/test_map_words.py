"""The words that the scripts of a page show stand in one file, so that another language is another file."""

import re

import pytest

from pipeline.report.page_assets import ASSETS, MAP_SCRIPTS

OTHERS = [name for name in ("page.js", *MAP_SCRIPTS) if name != "map_words.js"]
LITERAL = re.compile(r'"((?:[^"\\\n]|\\.)*)"')
SHOWN = re.compile(r'(?:textContent|title|placeholder|ariaLabel|innerText)\s*=\s*"([^"]+)"|createTextNode\("([^"]+)"|setAttribute\("aria-(?:label|valuetext)",\s*"([^"]+)"')


def without_comments(name):
    text = re.sub(r"/\*.*?\*/", "", (ASSETS / name).read_text(encoding="utf-8"), flags=re.S)
    return re.sub(r"(?m)(?:^|\s)//[^\n]*$", "", text)


@pytest.mark.parametrize("name", OTHERS)
def test_no_other_script_holds_a_sentence_or_a_word_that_it_shows(name):
    text = without_comments(name)
    # a capital letter and a blank, or a stop at the end, make a sentence; class names, events and selectors have neither
    assert [said for said in LITERAL.findall(text) if re.match(r"[A-Z][a-z]+(?: |$)", said) or re.search(r"[a-z] [a-z ]+\.$", said) and "=" not in said and not said.startswith((".", "["))
            if said not in ("Escape", "Enter", "Home", "End", "Space", "IMG")] == []
    assert [found for found in SHOWN.findall(text)] == []


def test_every_word_of_the_file_is_used_and_every_word_used_is_in_it():
    words = without_comments("map_words.js")
    given = set(re.findall(r"(?:[{,]|^)\s*([a-zA-Z]+):\s*(?=\"|function)", words[words.index("fixledger.say = {"):], re.M))
    used = set().union(*(re.findall(r"\bsay\.([a-zA-Z]+)", without_comments(name)) for name in OTHERS))
    assert given == used and len(given) > 30
