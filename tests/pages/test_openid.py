"""OpenID Connect: whoever the provider vouches for comes in with what their groups open, and nobody else.

The checks are those of OpenID Connect Core 1.0, 3.1.3.7, PKCE (RFC 7636), and the issuer in the answer (RFC 9207).
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from joserfc.jwk import RSAKey

from service import settings
from service.settings import SettingsError
from tests.conftest import run
from tests.pages import issuer
from tests.pages.issuer import Issuer
from tests.pages.visiting import doors, words


@pytest.fixture
def provider() -> Iterator[Issuer]:
    """A provider of this test's own."""
    with issuer.running() as found:
        yield found


def configured(provider: Issuer, folder: Path) -> dict[str, Any]:
    """The settings for it."""
    secret = folder / "secret"
    secret.write_text(f"{issuer.SECRET}\n")
    return {"oidc_issuer": provider.address, "oidc_client_id": issuer.CLIENT, "oidc_client_secret_file": secret}


async def round_trip(client: httpx.AsyncClient, target: str = "/search") -> tuple[httpx.Response, str]:
    """To the provider and back; the last answer, and the address by which the browser came back."""
    left = await client.get("/sign-in/openid", params={"next": target})
    assert left.status_code == 303, words(left)
    async with httpx.AsyncClient(trust_env=False) as elsewhere:
        agreed = await elsewhere.get(left.headers["location"])
    back = urlsplit(agreed.headers["location"])
    assert f"{back.scheme}://{back.netloc}{back.path}" == "http://tinebook/sign-in/openid/return"
    address = f"{back.path}?{back.query}"
    return await client.get(address), address


def test_somebody_comes_in_by_name_and_group(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """The session has the provider's name and the scopes of the groups; the page leads on by itself, for the strict cookie."""

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            assert "Sign in with 127.0.0.1" in words(await client.get("/sign-in"))
            done, _ = await round_trip(client, "/search?mark=x")
            assert done.status_code == 200, words(done)
            assert 'content="0;url=/search?mark=x"' in done.text
            shown = await client.get("/search")
            assert shown.status_code == 200
            assert "r.example" in words(shown)
            assert "Discrepancies" in words(shown)

    run(work())


def test_an_answer_serves_once(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """The address by which somebody came back opens nothing a second time, nor in another browser."""

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            _, address = await round_trip(client)
            client.cookies.clear()
            assert (await client.get(address)).status_code == 401
            assert (await client.get("/search")).status_code == 303

    run(work())


WRONG: dict[str, tuple[dict[str, Any], str]] = {
    "another nonce": ({"wrong": {"nonce": "other"}}, "does not hold"),
    "no nonce": ({"wrong": {"nonce": None}}, "does not hold"),
    "another audience": ({"wrong": {"aud": "somebody-else"}}, "does not hold"),
    "for another party": ({"wrong": {"aud": [issuer.CLIENT, "x"], "azp": "x"}}, "another service"),
    "another issuer": ({"wrong": {"iss": "https://elsewhere.example"}}, "does not hold"),
    "over": ({"wrong": {"exp": 1_700_000_000}}, "does not hold"),
    "no end": ({"wrong": {"exp": None}}, "does not hold"),
    "another key": ({"signs_with": RSAKey.generate_key(2048, {"kid": "one"})}, "does not hold"),
    "no group of ours": ({"groups": ["admin", "planner", "crew"]}, "none of the groups"),
    "no groups": ({"groups": None}, "none of the groups"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_statement_that_does_not_hold_opens_nothing(what: str, dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """Each thing that must be checked is: a statement that is wrong in one of them begins no session, and says why."""
    changes, said = WRONG[what]
    for name, value in changes.items():
        setattr(provider, name, value)

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            refused, _ = await round_trip(client)
            assert refused.status_code == 401
            assert said in words(refused)
            assert (await client.get("/search")).status_code == 303

    run(work())


@pytest.mark.parametrize("field", ["state", "iss", "code"])
def test_an_answer_to_another_question_opens_nothing(field: str, dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """An answer with another's state, from another issuer or with another's code is refused."""

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            left = await client.get("/sign-in/openid")
            asked = {name: each[0] for name, each in parse_qs(urlsplit(left.headers["location"]).query).items()}
            back = urlsplit(provider.authorised(asked))
            told = {name: each[0] for name, each in parse_qs(back.query).items()} | {field: "another"}
            assert (await client.get(back.path, params=told)).status_code == 401
            assert (await client.get("/search")).status_code == 303

    run(work())


def test_a_code_is_worth_nothing_without_its_verifier(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """A code that belongs to another browser's attempt is not exchanged: the provider compares the challenge (RFC 7636)."""

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            first = await client.get("/sign-in/openid")
            stolen = {name: each[0] for name, each in parse_qs(urlsplit(first.headers["location"]).query).items()}
            code = parse_qs(urlsplit(provider.authorised(stolen)).query)["code"][0]
            client.cookies.clear()
            second = await client.get("/sign-in/openid")
            asked = {name: each[0] for name, each in parse_qs(urlsplit(second.headers["location"]).query).items()}
            refused = await client.get("/sign-in/openid/return", params={"state": asked["state"], "code": code})
            assert refused.status_code == 401

    run(work())


def test_a_provider_that_is_away_or_another_is_said(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """Where the provider is not what the setting says, the form says so, and a token still opens the pages."""
    provider.calls_itself = "https://elsewhere.example"

    async def work() -> None:
        async with doors(dsn, **configured(provider, tmp_path)) as client:
            refused = await client.get("/sign-in/openid")
            assert refused.status_code == 502
            assert "calls itself" in words(refused)
            assert "Token" in words(refused)

    run(work())


def test_without_a_provider_there_is_no_such_way(dsn: str) -> None:
    """Where none is set up the form has the token alone."""

    async def work() -> None:
        async with doors(dsn) as client:
            assert "Sign in with" not in words(await client.get("/sign-in"))
            assert (await client.get("/sign-in/openid")).status_code == 404
            assert (await client.get("/sign-in/openid/return?code=x&state=y")).status_code == 401

    run(work())


@pytest.mark.parametrize(
    "given",
    [
        {"OIDC_ISSUER": "https://id.example"},
        {"OIDC_CLIENT_ID": "x"},
        {"OIDC_ISSUER": "http://id.example", "OIDC_CLIENT_ID": "x"},
    ],
)
def test_half_a_provider_is_a_wrong_setting(given: dict[str, str]) -> None:
    """An issuer without a client, the other way round, or one that anybody in between could be, is refused at start."""
    with pytest.raises(SettingsError, match="TINEBOOK_OIDC_ISSUER"):
        settings.read({f"TINEBOOK_{name}": value for name, value in given.items()})
