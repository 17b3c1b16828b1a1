"""Commands run as a user's shell runs them, in this process."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

import pytest

from waterbudget.cli import main


class Answer(NamedTuple):
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def cli(capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)

    def call(*words: object) -> Answer:
        capsys.readouterr()
        code = main([str(w) for w in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Answer(code, out, err)

    return call


@pytest.fixture
def farm(cli) -> str:
    assert cli("new", "farm.gpkg", "--name", "Ridge", "--at", "-19.9,32.7").code == 0
    return "farm.gpkg"
