"""Distance between builds: its rules, its edges, its speed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.archive import similarity
from builder.archive.fields import BY_SLUG, FIELDS, choice_of, number_of, weights_from
from builder.archive.summary import Summary
from tests.support import archive_samples as samples

WEIGHTS, _ = weights_from(None)


def distance_by_definition(plan: Summary, other: Summary, weights: dict[str, float]) -> float:
    """The documented rule written out field by field, as slow and plain as it is read."""
    total = asked = shared = 0.0
    had = both = 0
    for field in FIELDS:
        read = number_of if field.kind == "number" else choice_of
        a, b = read(plan, field), read(other, field)
        weight = weights[field.slug]
        if weight == 0 or a is None or (field.ratio and a <= 0):
            continue
        if b is None and field.optional:
            continue
        asked += weight
        had += 1
        if b is None or (field.ratio and b <= 0):
            total += weight / 2
            continue
        shared += weight
        both += 1
        if field.kind == "choice":
            total += weight * (a != b)
        elif field.ratio:
            total += weight * min(1, abs(math.log(a / b)) / math.log(field.scale))
        else:
            total += weight * min(1, abs(a - b) / field.scale)
    if asked == 0 or shared < asked / 2 - 1e-9 or both < min(3, had):
        return math.inf
    return total / asked


def test_the_vectorised_distance_is_the_defined_one() -> None:
    builds = samples.invented_archive(60, sparse=0.35)
    table = similarity.build_matrix(builds, WEIGHTS)
    for plan in builds[:20]:
        got = similarity.distances(table, plan)
        want = [distance_by_definition(plan, s, WEIGHTS) for s in table.summaries]
        np.testing.assert_allclose(got, want, atol=1e-9)
    assert np.isinf(similarity.distances(table, replace(builds[0], **dict.fromkeys(BY_SLUG)))).all()


def test_all_pairs_agree_with_one_to_many_and_leave_itself_out() -> None:
    builds = samples.invented_archive(80, sparse=0.3)
    table = similarity.build_matrix(builds, WEIGHTS)
    index, distance = similarity.nearest(table, 5)
    for row, plan in enumerate(table.summaries):
        one = similarity.most_similar(table, plan, WEIGHTS, 5)
        assert [table.summaries[i].slug for i in index[row] if i >= 0] == [r.summary.slug for r in one]
        assert distance[row][np.isfinite(distance[row])] == pytest.approx([r.distance for r in one])
        assert plan.slug not in [r.summary.slug for r in one]


def test_equal_builds_have_distance_0_and_different_ones_1() -> None:
    a, b = samples.invented_archive(2, sparse=0.0)
    table = similarity.build_matrix([a, replace(a, slug="twin"), b], WEIGHTS)
    found = {r.summary.slug: r for r in similarity.most_similar(table, a, WEIGHTS)}
    assert found["twin"].distance == 0.0
    assert found["twin"].differences == ()
    assert found[b.slug].distance > 0.05


def test_missing_counts_as_half_different() -> None:
    plan = similarity.plan_from_values(
        displacement=0.005, compression_ratio=10.0, fuel="gasoline", induction="naturally aspirated"
    )
    same = replace(plan, slug="same", title="same")
    less = replace(same, slug="less", fuel=None)
    table = similarity.build_matrix([same, less], WEIGHTS)
    found = {r.summary.slug: r for r in similarity.most_similar(table, plan, WEIGHTS)}
    share = WEIGHTS["fuel"] / sum(WEIGHTS[s] for s in ("displacement", "compression_ratio", "fuel", "induction"))
    assert found["less"].distance == pytest.approx(share / 2)
    assert [d.text("inch") for d in found["less"].differences] == ["Fuel: not recorded"]


def test_a_field_that_many_records_leave_out_is_not_counted_where_it_is_missing() -> None:
    values = {"displacement": 0.005, "compression_ratio": 10.0, "fuel": "gasoline", "manifold": "dual plane"}
    plan = similarity.plan_from_values(**values, rated_flow=0.3)
    same = replace(plan, slug="same", title="same")
    silent = replace(same, slug="silent", manifold=None, rated_flow=None)
    other = replace(same, slug="other", manifold="single plane", rated_flow=0.3 * math.sqrt(2.0))
    table = similarity.build_matrix([same, silent, other], WEIGHTS)
    found = {r.summary.slug: r for r in similarity.most_similar(table, plan, WEIGHTS)}
    assert (found["same"].distance, found["silent"].distance) == (0.0, 0.0)
    assert found["silent"].differences == ()
    few = similarity.plan_from_values(displacement=0.005, manifold="dual plane", rated_flow=0.3)
    assert similarity.distances(table, few)[table.summaries.index(silent)] == 0.0
    nothing_else = similarity.plan_from_values(manifold="dual plane")
    assert math.isinf(similarity.distances(table, nothing_else)[table.summaries.index(silent)])
    counted = WEIGHTS["manifold"] + WEIGHTS["rated_flow"] / 2
    assert found["other"].distance == pytest.approx(counted / sum(WEIGHTS[name] for name in (*values, "rated_flow")))
    assert [d.field.slug for d in found["other"].differences] == ["manifold", "rated_flow"]


def test_too_few_shared_fields_are_no_match() -> None:
    full = samples.invented_archive(1, sparse=0.0)[0]
    bare = Summary(slug="bare", title="bare", displacement=full.displacement, fuel=full.fuel)
    assert similarity.most_similar(similarity.build_matrix([bare], WEIGHTS), full, WEIGHTS) == ()
    # Asked by the sparse one, the full one is a relative: it knows all that was asked.
    (back,) = similarity.most_similar(similarity.build_matrix([full], WEIGHTS), bare, WEIGHTS)
    assert back.distance == 0.0


def test_shares_of_differences_add_up_to_the_distance() -> None:
    builds = samples.invented_archive(30, sparse=0.2)
    table = similarity.build_matrix(builds, WEIGHTS)
    for relative in similarity.most_similar(table, builds[0], WEIGHTS, 20):
        assert sum(d.share for d in relative.differences) == pytest.approx(relative.distance, abs=2e-9)
        shares = [d.share for d in relative.differences]
        assert shares == sorted(shares, reverse=True)


def test_a_difference_is_printed_in_the_units_of_the_shop() -> None:
    plan = similarity.plan_from_values(displacement=5.7e-3, compression_ratio=10.5, fuel="gasoline")
    other = Summary(slug="o", title="o", displacement=5.3e-3, compression_ratio=11.0, fuel="E85")
    (relative,) = similarity.most_similar(similarity.build_matrix([other], WEIGHTS), plan, WEIGHTS)
    texts = [d.text("inch") for d in relative.differences]
    assert texts == [
        "Fuel: E85 instead of gasoline",
        "Displacement: 323.4 cu in instead of 347.8 cu in",
        "Compression ratio: 11.00 instead of 10.50",
    ]
    assert relative.differences[1].text("metric") == "Displacement: 5300 cc instead of 5700 cc"


def test_equal_distances_keep_the_archives_order() -> None:
    plan = similarity.plan_from_values(fuel="gasoline")
    builds = [Summary(slug=s, title=s, date=d, fuel="gasoline") for s, d in
              (("b", "2001-01-01"), ("a", "2001-01-01"), ("new", "2020-01-01"), ("undated", None))]  # fmt: skip
    found = similarity.most_similar(similarity.build_matrix(builds, WEIGHTS), plan, WEIGHTS)
    assert [r.summary.slug for r in found] == ["new", "a", "b", "undated"]


def test_an_unknown_choice_differs_from_all() -> None:
    plan = similarity.plan_from_values(fuel="hydrogen", induction="naturally aspirated")
    build = Summary(slug="b", title="b", fuel="gasoline", induction="naturally aspirated")
    (found,) = similarity.most_similar(similarity.build_matrix([build], WEIGHTS), plan, WEIGHTS)
    assert found.distance == pytest.approx(WEIGHTS["fuel"] / (WEIGHTS["fuel"] + WEIGHTS["induction"]))


def test_results_have_no_weight_unless_the_shop_gives_them_one() -> None:
    assert all(WEIGHTS[f.slug] == 0 for f in FIELDS if f.group == "result")
    weights, complaints = weights_from({"peak_power": 2, "fuel": 0})
    assert (weights["peak_power"], weights["fuel"], complaints) == (2.0, 0.0, {})


@pytest.mark.parametrize(
    ("overrides", "message"),
    [
        ({"colour": 1}, "there is no field 'colour'"),
        ({"fuel": "much"}, "must be a number from 0 to 100, not 'much'"),
        ({"fuel": -1}, "must be a number"),
        ({"fuel": True}, "must be a number"),
        ({"fuel": math.nan}, "must be a number"),
        ({f.slug: 0 for f in FIELDS}, "every weight is 0"),
    ],
)
def test_bad_weights_have_a_message_and_the_defaults_apply(overrides: dict[str, object], message: str) -> None:
    weights, complaints = weights_from(overrides)
    assert any(message in complaint for complaint in complaints.values())
    assert weights["fuel"] == WEIGHTS["fuel"]


def test_empty_single_and_bare_archives() -> None:
    assert similarity.most_similar(similarity.build_matrix([], WEIGHTS), Summary("a", "a"), WEIGHTS) == ()
    index, distance = similarity.nearest(similarity.build_matrix([], WEIGHTS), 3)
    assert index.shape == distance.shape == (0, 3)
    alone = similarity.build_matrix(samples.invented_archive(1), WEIGHTS)
    index, distance = similarity.nearest(alone, 3)
    assert (index == -1).all()
    assert np.isinf(distance).all()
    bare = similarity.build_matrix([Summary(f"b{i}", "nothing known") for i in range(4)], WEIGHTS)
    assert (similarity.nearest(bare, 2)[0] == -1).all()


@given(st.dictionaries(st.sampled_from([f.slug for f in FIELDS if f.kind == "number"]),
                       st.floats(allow_nan=True, allow_infinity=True), max_size=8))  # fmt: skip
def test_absurd_numbers_never_break_it(values: dict[str, float]) -> None:
    absurd = Summary("odd", "odd", **values)
    builds = [*samples.invented_archive(5, sparse=0.1), absurd]
    table = similarity.build_matrix(builds, WEIGHTS)
    for plan in (absurd, builds[0]):
        d = similarity.distances(table, plan)
        assert not np.isnan(d).any()
        assert ((d >= 0) & (d <= 1) | np.isinf(d)).all()
        similarity.most_similar(table, plan, WEIGHTS)


def test_a_plan_of_unknown_fields_is_refused() -> None:
    with pytest.raises(ValueError, match="no field 'colour' in a plan"):
        similarity.plan_from_values(colour="red")
