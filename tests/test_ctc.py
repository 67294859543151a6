"""The search is exact: against every alignment written out one by one."""

import json
from itertools import groupby, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from voicecapture.language.grammar import Grammar, Tokens
from voicecapture.language.grammar_file import load_grammar
from voicecapture.recogniser.ctc import Floats, Search, log_likelihoods, relative_probabilities, tokens_of
from voicecapture.recogniser.phone_network import PhoneNetwork, spell_out

INDEX = {"AA": 1, "B": 2, "S": 3}
WORDINGS: dict[Tokens, list[str]] = {
    ("x",): ["AA", "B"],
    ("x", "x"): ["AA AA", "AA B", "B AA", "B B"],
    ("y",): ["S S", "S AA S"],
    ("x", "y"): ["AA S S", "B S S", "AA S AA S", "B S AA S"],
}
"""Every meaning of the small grammar below with the phones of all its wordings."""


@pytest.fixture
def network(tmp_path: Path) -> PhoneNetwork:
    (tmp_path / "voicecapture.jsgf").write_text(
        "#JSGF V1.0;\ngrammar small;\npublic <utterance> = <x> [<x>] | [<x>] sas {y};\n<x> = one {x} | two {x};\n"
    )
    (tmp_path / "pronunciations.dict").write_text("one  AA\ntwo  B\nsas  S S\nsas  S AA S\n")
    grammar: Grammar = load_grammar(tmp_path)
    return spell_out(grammar, INDEX)


@pytest.fixture
def relative() -> Floats:
    rng = np.random.default_rng(3)
    return relative_probabilities(np.log(rng.dirichlet(np.ones(4), size=6)).astype(np.float32))


def written_out(relative: Floats) -> dict[Tokens, float]:
    """Sum over all 4^6 paths of frames that collapse to a wording."""
    totals = dict.fromkeys(WORDINGS, 0.0)
    names = {index: phone for phone, index in INDEX.items()}
    for path in product(range(4), repeat=len(relative)):
        said = " ".join(names[label] for label, _ in groupby(path) if label)
        for meaning, wordings in WORDINGS.items():
            if said in wordings:
                totals[meaning] += float(np.prod([relative[t, label] for t, label in enumerate(path)]))
    return totals


def test_likelihoods_are_the_sum_of_all_alignments(network: PhoneNetwork, relative: Floats) -> None:
    expected = written_out(relative)
    found = np.exp(log_likelihoods(network, relative, list(WORDINGS)))
    assert found == pytest.approx([expected[meaning] for meaning in WORDINGS], rel=1e-9)


def test_the_total_is_the_sum_of_all_meanings(network: PhoneNetwork, relative: Floats) -> None:
    assert np.exp(Search(network).forward(relative)) == pytest.approx(sum(written_out(relative).values()), rel=1e-5)


def test_draws_follow_the_posterior(network: PhoneNetwork, relative: Floats) -> None:
    search, rng = Search(network), np.random.default_rng(1)
    search.forward(relative)
    drawn = [tokens_of(network, walk, rng) for walk in search.draw(4000, rng)]
    expected = written_out(relative)
    for meaning, mass in expected.items():
        share = mass / sum(expected.values())
        # Four standard errors of a share among 4,000 draws.
        assert drawn.count(meaning) / 4000 == pytest.approx(share, abs=4 * (share * (1 - share) / 4000) ** 0.5 + 1e-3)


def test_a_meaning_that_the_grammar_lacks_is_impossible(network: PhoneNetwork, relative: Floats) -> None:
    assert log_likelihoods(network, relative, [("z",)])[0] == -np.inf


def test_working_memory_of_a_longer_utterance_does_not_leak_into_the_next(
    network: PhoneNetwork, relative: Floats
) -> None:
    search = Search(network)
    first = search.forward(relative[:3])
    search.forward(relative)
    assert search.forward(relative[:3]) == first


@pytest.mark.parametrize("case", json.loads((Path(__file__).parent / "data" / "ctc_torch.json").read_text("utf-8")))
def test_one_pronunciation_is_as_likely_as_torch_says(case: dict[str, Any], tmp_path: Path) -> None:
    """The losses are of torch 2.11.0's torch.nn.functional.ctc_loss, in float64 with blank 0, natural logarithm."""
    phones = ("AA", "B", "S", "T")
    (tmp_path / "voicecapture.jsgf").write_text("#JSGF V1.0;\ngrammar one;\npublic <utterance> = word {x};\n")
    spelled = " ".join(phones[label - 1] for label in case["target"])
    (tmp_path / "pronunciations.dict").write_text(f"word  {spelled}\n")
    network = spell_out(load_grammar(tmp_path), {phone: label for label, phone in enumerate(phones, 1)})
    log_probabilities = np.array(case["log_probabilities"])
    relative = relative_probabilities(log_probabilities)
    best_path = log_probabilities.max(axis=1).sum()
    # The file has log-probabilities to six decimals.
    assert log_likelihoods(network, relative, [("x",)])[0] + best_path == pytest.approx(-case["loss"], abs=1e-5)
    assert Search(network).forward(relative) + best_path == pytest.approx(-case["loss"], abs=1e-5)
