import pytest

from pipeline.wording import counted, listed, number_word, printed, rounded_up, two_figures


def test_an_upper_bound_is_never_rounded_below_itself():
    assert [rounded_up(each) for each in (152.6, 150.0, 1.51, 0.0, 1210.0)] == ["160", "150", "1.6", "0", "1,300"]


@pytest.mark.parametrize("value, text", [(181.3, "180"), (1234.0, "1,200"), (0.0342, "0.034"), (9.96, "10"), (9.44, "9.4"), (0.0, "0")])
def test_a_length_is_said_to_the_two_figures_it_has(value, text):
    assert two_figures(value) == text


@pytest.mark.parametrize("value, form, text", [(9647, ",d", "9,647"), (-86.0, ",g", "−86"), (-86.5, ",g", "−86.5"), (-1234.5, ",.0f", "−1,234"), (999, ",d", "999")])
def test_a_number_in_a_sentence_has_its_thousands_set_apart_and_the_true_minus_sign(value, form, text):
    assert printed(value, form) == text


def test_counts_carry_their_noun():
    assert [counted(1, "beacon"), counted(54, "fix", "fixes"), counted(1234, "row")] == ["1 beacon", "54 fixes", "1,234 rows"]
    assert [number_word(n) for n in (0, 2, 12, 13)] == ["no", "two", "twelve", "13"]


def test_a_long_list_is_cut_and_says_how_many_follow():
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert listed("abcdefghij") == "a, b, c, d, e, f, g and 3 more"
