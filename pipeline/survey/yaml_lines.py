"""YAML as plain text values with the line of every key, so that messages can say where."""

from __future__ import annotations

from dataclasses import dataclass, field

import yaml


@dataclass
class YamlFile:
    """values : dicts, lists, texts and None. lines : line of each key, by its path such as ("receiver_log", "files"). twice : paths written twice."""

    values: object = None
    lines: dict[tuple, int] = field(default_factory=dict)
    twice: list[tuple] = field(default_factory=list)


def read_yaml(text: str) -> YamlFile:
    """Read YAML without turning words into other kinds: 2027, no and 017 stay the text they are; blank, null and ~ become None.

    Raises yaml.YAMLError, which carries line and column.
    """
    file = YamlFile()
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    file.values = _value(node, (), file) if node is not None else None
    return file


def _value(node, path: tuple, file: YamlFile):
    file.lines.setdefault(path, node.start_mark.line + 1)
    if isinstance(node, yaml.MappingNode):
        values = {}
        for key, value in node.value:
            name = str(key.value)
            file.lines[(*path, name)] = key.start_mark.line + 1
            if name in values:
                file.twice.append((*path, name))
            values[name] = _value(value, (*path, name), file)
        return values
    if isinstance(node, yaml.SequenceNode):
        return [_value(value, (*path, i), file) for i, value in enumerate(node.value)]
    blank = node.style is None and node.value in ("", "~", "null", "Null", "NULL")
    return None if blank else node.value
