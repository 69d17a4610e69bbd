"""Rules about the code itself, checked over its syntax trees and templates."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PYTHON = [
    path
    for package in ("clinic", "audit")
    for path in sorted((ROOT / package).rglob("*.py"))
    if "migrations" not in path.parts
]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
READS_THE_CLOCK = {"today", "now", "localdate", "localtime", "utcnow"}
MAY_READ_THE_CLOCK = ("views", "commands", "middleware.py", "views.py", "logs.py", "signing_in.py", "templatetags")


def called_names(path: Path) -> list[tuple[str, int]]:
    tree = ast.parse(path.read_text())
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return [(call.func.attr, call.lineno) for call in calls if isinstance(call.func, ast.Attribute)]


def test_the_clock_is_read_only_at_the_edge():
    found = [
        f"{path.relative_to(ROOT)}:{line} {name}()"
        for path in PYTHON
        if not set(MAY_READ_THE_CLOCK) & set(path.parts) and not path.stem.endswith("_views")
        for name, line in called_names(path)
        if name in READS_THE_CLOCK - {"localtime"}
    ]

    assert found == []


def test_forms_name_their_fields():
    found = [
        str(path)
        for path in PYTHON
        if re.search(r"__all__[\"']|^\s+exclude = ", path.read_text(), re.M) and path.name == "forms.py"
    ]

    assert found == []


def test_no_module_takes_everything():
    assert [path for path in PYTHON if path.stem in {"utils", "helpers", "common", "services", "managers"}] == []


def test_clinical_rows_are_not_updated_past_their_history():
    """QuerySet.update() writes no version; it claims the next version number or a message, and notes a sign-in."""
    updates = {
        str(path.relative_to(ROOT))
        for path in PYTHON
        if re.search(r"\)\.update\(|objects\.update\(", path.read_text()) or "bulk_update(" in path.read_text()
    }

    access = {f"clinic/access/{name}.py" for name in ("models", "throttle", "signing_in")}
    assert updates <= access | {"clinic/reminders/sending.py"}


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_templates_carry_no_inline_style_or_script_and_trust_no_text(path):
    text = path.read_text()

    assert not re.search(r"\sstyle=|\son[a-z]+=\"|<style|javascript:", text)
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    # The template pack prints markup that crispy-forms made from our own layouts, and attributes it escaped.
    assert "|safe" not in text or path.parts[-2] in {"forms", "layout"}
    assert "autoescape off" not in text
    assert not re.search(r"(?:src|href)=\"https?://", text)


def test_every_setting_from_the_environment_is_explained():
    named = set()
    for path in [ROOT / "clinic" / "settings.py", ROOT / "clinic" / "secrets.py"]:
        named |= set(re.findall(r"(?:environ\.get|required)\(\"([A-Z_]+)\"", path.read_text()))

    guide, example = (ROOT / "DEVELOPERS.md").read_text(), (ROOT / ".env.example").read_text()

    assert {name for name in named if f"`{name}`" not in guide} == set()
    assert {name for name in named if name not in example} == set()
