"""How often somebody may try to sign in, on both databases."""

from dataclasses import replace

import pytest

from api.cases.store import CaseStore
from api.http.slots import TooManyRequests
from api.people.tries import OF_ADDRESS, OF_ADDRESS_MS, OF_NAME, OF_NAME_MS, count_try, forget_tries


def test_tries_are_counted_in_the_database_for_every_server(case_store: CaseStore) -> None:
    now = case_store.now_ms()
    first, second = (replace(case_store, now_ms=lambda: now) for _ in range(2))
    for number in range(OF_ADDRESS):
        count_try((first, second)[number % 2], "192.0.2.1", "")
    with pytest.raises(TooManyRequests) as refused:
        count_try(second, "192.0.2.1", "")
    assert refused.value.retry_after_s == OF_ADDRESS_MS // 1000
    count_try(first, "192.0.2.2", "")
    count_try(replace(first, now_ms=lambda: now + OF_ADDRESS_MS), "192.0.2.1", "")


def test_one_name_is_not_guessed_from_many_addresses_and_is_free_again_in_time(case_store: CaseStore) -> None:
    now = case_store.now_ms()
    store = replace(case_store, now_ms=lambda: now)
    for number in range(OF_NAME):
        count_try(store, f"192.0.2.{number}", "ana")
    with pytest.raises(TooManyRequests):
        count_try(store, "198.51.100.1", "ana")
    count_try(store, "198.51.100.2", "bo")
    count_try(replace(store, now_ms=lambda: now + OF_NAME_MS), "198.51.100.1", "ana")
    forget_tries(store, "198.51.100.1", "ana")
    count_try(store, "198.51.100.1", "ana")


def test_signing_in_oneself_clears_no_guesses_at_others(case_store: CaseStore) -> None:
    now = case_store.now_ms()
    store = replace(case_store, now_ms=lambda: now)
    for number in range(OF_ADDRESS):
        count_try(store, "192.0.2.1", f"colleague{number}")
        if number % 3 == 0:
            forget_tries(replace(store, now_ms=lambda: now), "192.0.2.1", "eve")
            count_try(store, "192.0.2.1", "eve")
    with pytest.raises(TooManyRequests):
        count_try(store, "192.0.2.1", "another")
