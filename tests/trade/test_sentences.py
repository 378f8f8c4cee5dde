"""What a wearer reads: every language says everything that another one does, with the same words to be filled in."""

from datetime import date
from string import Formatter

import pytest

from app.trade.sentences import ENGLISH, LANGUAGES, Language
from app.trade.wearing import PLANS


@pytest.fixture(params=list(LANGUAGES))
def language(request: pytest.FixtureRequest) -> Language:
    return LANGUAGES[request.param]


def filled_in(sentence: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(sentence) if name is not None}


def test_every_sentence_is_there_and_takes_the_same_words(language: Language) -> None:
    assert set(language.sentences) == set(ENGLISH.sentences)
    for key, sentence in language.sentences.items():
        assert sentence.strip() == sentence != "", key
        assert filled_in(sentence) == filled_in(ENGLISH.sentences[key]), key


def test_no_sentence_of_another_language_was_left_in_english(language: Language) -> None:
    same = {key for key in ENGLISH.sentences if language.sentences[key] == ENGLISH.sentences[key]}
    assert language is ENGLISH or same <= {"skin_clear"}  # "no" is one in many languages


def test_a_published_plan_says_where_it_is_from(language: Language) -> None:
    assert all(language.say(f"plan_{key}") for key in PLANS)


def test_days_are_named_in_the_language() -> None:
    assert LANGUAGES["en"].day(date(2027, 3, 3)) == "Wed\u00a03\u00a0Mar"
    assert LANGUAGES["es"].day(date(2027, 3, 3)) == "mié\u00a03\u00a0mar"
    for each in LANGUAGES.values():
        assert (len(each.weekdays), len(each.months)) == (7, 12)
