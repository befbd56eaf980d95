"""Checks against values from outside the project; each names its source. A package, so that files here may be named like those above."""
