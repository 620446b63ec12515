"""The judge and the oracle agree case by case on what a board could have done.

A seeded share; `tests/performance/oracle_agreement.py` runs the many.
"""

from __future__ import annotations

import ast
import os
import pathlib
import random

import pytest

from tests.judge.oracle import board, decide, pins, shrink
from tests.judge.oracle_cases import FAMILIES, KNOWN, Family, answers, book_of, parameters_of, smallest, told

SEEDS = int(os.environ.get("SEEDS", "220"))


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.name)
def test_judge_and_oracle_agree(family: Family):
    for seed in range(SEEDS):
        found = answers(family, seed)
        if not found.agree and (family.name, seed) not in KNOWN:
            pytest.fail(f"seed {seed}, oracle: {found.explainable}\n{told(found, smallest(found))}")


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.name)
def test_cases_are_of_both_sorts(family: Family):
    """An oracle that always gave the same answer would agree with a judge that did."""
    said = [answers(family, seed).explainable for seed in range(60)]
    assert 10 <= sum(said) <= 50


def test_the_oracle_shares_no_code_with_what_it_checks():
    for module in (board, decide, pins, shrink):
        for node in ast.walk(ast.parse(pathlib.Path(module.__file__).read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [a.name for a in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                assert not name.startswith("bench")
                assert not name.startswith("firmware_ref") or name == "firmware_ref.parameters"


def test_a_limit_off_the_grid_is_refused():
    parameters = parameters_of(FAMILIES[0], random.Random(1))
    with pytest.raises(ValueError, match="grid"):
        board.Rulebook(parameters, 7)
    assert book_of(parameters).hold.least >= 4
