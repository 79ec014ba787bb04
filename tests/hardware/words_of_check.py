"""What `boatrun check` can say against a rig, read out of the code that says it, with … for what differs each time."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

HOLE = "…"
SAYERS = {"Finding": 2, "Fault": 2, "_tell": 0, "fault": 0, "GoneError": 0, "Trouble": 0}
"""Name of what is called -> which of its arguments is the sentence."""
_DEEPEST = 8
Names = Mapping[str, list[ast.expr]]


@dataclass(frozen=True)
class Said:
    """One sentence, and where it is made."""

    words: str
    where: str
    """module:function"""


def sentences(project: Path) -> list[Said]:
    """Every sentence of a doubt or fault, of the check itself and of real devices."""
    found = []
    for folder in ("logger/checkup", "logger/drivers"):
        for path in sorted((project / folder).glob("*.py")):
            if not path.name.startswith(("simulated", "recorded")):
                found += list(_of_module(path))
    return found


def _of_module(path: Path) -> Iterator[Said]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    known = _assigned(tree.body)
    constants = [node for node in tree.body if isinstance(node, ast.Assign)]
    for part in [*constants, *(node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))]:
        names = known if isinstance(part, ast.Assign) else known | _assigned(list(ast.walk(part)))
        name = part.name if isinstance(part, ast.FunctionDef) else "constants"
        for call in ast.walk(part):
            if not isinstance(call, ast.Call):
                continue
            called = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
            place = SAYERS.get(called)
            if place is None or len(call.args) <= place or (called == "Finding" and _is_well(call.args[1])):
                continue
            for words in dict.fromkeys(_texts(call.args[place], names)):
                yield Said(_tidy(words), f"{path.stem}:{name}")


def _is_well(health: ast.expr) -> bool:
    return isinstance(health, ast.Constant) and health.value == "well"


def _assigned(nodes: list[ast.stmt] | list[ast.AST]) -> dict[str, list[ast.expr]]:
    found: dict[str, list[ast.expr]] = {}
    for node in nodes:
        if not isinstance(node, ast.Assign):
            continue
        for target in node.targets:
            if isinstance(target, ast.Name):
                found.setdefault(target.id, []).append(node.value)
            elif isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple):
                for one, value in zip(target.elts, node.value.elts, strict=False):
                    if isinstance(one, ast.Name):
                        found.setdefault(one.id, []).append(value)
    return found


def _texts(node: ast.expr, names: Names, depth: int = 0) -> list[str]:
    """All that an expression may come to."""
    if depth > _DEEPEST:
        return [HOLE]
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        texts = [""]
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                is_number = part.format_spec is not None
                ends = [HOLE] if is_number else _texts(part.value, names, depth + 1)
            else:
                ends = _texts(part, names, depth + 1)
            texts = [text + end for text in texts for end in ends]
        return texts
    if isinstance(node, ast.IfExp):
        return _texts(node.body, names, depth + 1) + _texts(node.orelse, names, depth + 1)
    if isinstance(node, ast.BoolOp):
        return [text for value in node.values for text in _texts(value, names, depth + 1)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return [a + b for a in _texts(node.left, names, depth + 1) for b in _texts(node.right, names, depth + 1)]
    if isinstance(node, ast.Name) and node.id in names:
        others = {name: values for name, values in names.items() if name != node.id}
        return [text for value in names[node.id] for text in _texts(value, others, depth + 1)]
    return [HOLE]


def _tidy(words: str) -> str:
    words = re.sub(rf"[\"(]?{HOLE}[\")]?(?:\s*[\"(]?{HOLE}[\")]?)*", HOLE, words)
    return " ".join(words.split())
