"""Markdown of a notebook as HTML, with formulas as MathML, so that a page needs no script and no font for them."""

from __future__ import annotations

import html
import re

import latex2mathml.converter
from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath


def words_to_html(markdown: str) -> str:
    """Markdown as HTML; a first-level heading becomes a second-level one, since the page has its own title."""
    return MarkdownWithMath(renderer=_PageRenderer(escape=False, exclude_anchor_links=True)).render(markdown)


def formula_to_mathml(formula: str, display: str = "inline") -> str:
    """LaTeX as MathML; raises ValueError where the converter would silently print something wrong."""
    mathml = latex2mathml.converter.convert(html.unescape(formula), display=display)
    if "<mi>&</mi>" in mathml or "merror" in mathml or re.search(r">\\[A-Za-z]", mathml):
        raise ValueError(f"this formula cannot be shown: {formula}")
    return mathml


class _PageRenderer(IPythonRenderer):
    def heading(self, text: str, level: int, **attributes) -> str:
        level = max(level, 2)
        return f"<h{level}>{text}</h{level}>\n"

    def block_math(self, body: str) -> str:
        return f'<p class="formula" tabindex="0">{formula_to_mathml(body, "block")}</p>'

    def inline_math(self, body: str) -> str:
        return formula_to_mathml(body)

    def latex_environment(self, name: str, body: str) -> str:
        return self.block_math("\\begin{" + name + "}" + body + "\\end{" + name + "}")

    def multiline_math(self, text: str) -> str:
        return text
