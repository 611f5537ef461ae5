"""Logs with German, French, Spanish and Italian headers read as the same log in English."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.dyno_log.channels import CHANNELS, channel_named
from builder.record.dyno_log.header import heading, normal_words
from builder.record.dyno_log.reader import read_dyno_log
from builder.record.dyno_log.translated_words import TRANSLATED_WORDS

METRIC_HP = 735.49875
"""One metric horsepower [W]. Source: 75 kgf m/s with the standard acceleration of gravity (ISO 80000-3)."""


@pytest.mark.parametrize(
    "header",
    [
        "Drehzahl [1/min];Drehmoment [Nm];Leistung [PS];Öldruck [bar];Abgastemperatur Zyl. 3 [°C]",
        "Motordrehzahl in U/min;Motormoment in Nm;Motorleistung in PS;Oeldruck in bar;Abgastemp. Zylinder 3 in °C",
        "Régime moteur [tr/min];Couple [N.m];Puissance [ch];Pression d'huile [bar];Température échappement cyl 3 [°C]",
        "Régimen [rpm];Par motor [Nm];Potencia [CV];Presión de aceite [bar];Temperatura de escape cil. 3 [°C]",
        "Numero di giri [giri/min];Coppia [Nm];Potenza [CV];Pressione olio [bar];Temperatura scarico cilindro 3 [°C]",
    ],
)
def test_a_log_in_each_language(header: str, tmp_path: Path) -> None:
    path = tmp_path / "pull.csv"
    rows = ["3000;200,0;85,44;3,5;700", "3500;210,0;104,66;3,8;710", "4000;215,0;122,46;4,1;722"]
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    log, problems = read_dyno_log(path)
    assert log is not None
    assert not [problem for problem in problems if problem.severity == "error"]
    assert log.channels["engine_speed"][0] == pytest.approx(50.0)
    assert log.channels["torque"][0] == pytest.approx(200.0)
    assert log.channels["power"][0] == pytest.approx(85.44 * METRIC_HP, rel=1e-6)
    assert log.channels["oil_pressure"][0] == pytest.approx(3.5e5)
    assert log.channels["exhaust_temperature_3"][0] == pytest.approx(973.15)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Leistung korrigiert [PS]", "corrected"),
        ("Leistung (nicht korrigiert) [PS]", "observed"),
        ("Puissance non corrigée [ch]", "observed"),
        ("Puissance corrigée [ch]", "corrected"),
        ("Potencia corregida [CV]", "corrected"),
        ("Potencia no corregida [CV]", "observed"),
        ("Potenza misurata [CV]", "observed"),
        ("Power not corrected [hp]", "observed"),
    ],
)
def test_whether_a_column_is_corrected(text: str, kind: str) -> None:
    read = heading(text)
    assert (read.slugs, read.kind) == (("power",), kind)


def test_words_are_written_as_they_are_compared() -> None:
    for slug, words in TRANSLATED_WORDS.items():
        assert slug in CHANNELS
        assert [normal_words(word) for word in words] == list(words)


def test_no_word_means_two_channels() -> None:
    owner: dict[str, str] = {}
    for channel in CHANNELS.values():
        for word in channel.words:
            assert owner.setdefault(word, channel.slug.removesuffix("_volume")) == channel.slug.removesuffix("_volume")


def test_a_record_may_name_a_channel_in_any_language() -> None:
    assert channel_named("Öldruck") == "oil_pressure"
    assert channel_named("Pression d'huile") == "oil_pressure"
