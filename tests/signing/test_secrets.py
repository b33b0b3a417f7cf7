"""One secret a badge: who knows it, how it is kept, and how seldom it may be guessed.

Parameters of argon2id: RFC 9106, section 4. Limits of guessing: common practice, no source.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta

import asyncpg
import httpx
import pytest

from service import problems, settings
from service import signing_messages as messages
from service.core.signing.attempts import Cost
from service.problems import ProblemRaised
from service.settings import Settings, SettingsError
from service.store import database
from service.workflow import proving
from service.workflow.access import Scope
from service.workflow.proving import Prover
from tests.conftest import Started, make_token, run
from tests.signing import shop
from tests.signing.shop import CHEAP, CHEAP_SETTINGS, NOW, WORKER, Shop

FIRST, OWN = "first secret of all", "my own secret"


async def issue(opened: Shop, prover: Prover, badge: str = WORKER, **more: str) -> None:
    """An administrator gives out an initial secret."""
    asked = messages.SecretIssue(secret=FIRST, **more)
    await proving.issue(opened.service, prover, badge, asked, "office", NOW - timedelta(hours=5))


async def change(opened: Shop, prover: Prover, old: str = FIRST, new: str = OWN) -> None:
    """The worker changes it."""
    await proving.change(
        opened.service, prover, WORKER, messages.SecretChange(old=old, new=new), NOW - timedelta(hours=4)
    )


async def refused(attempt: object) -> problems.Type:
    """The type of problem with which something ends."""
    with pytest.raises(ProblemRaised) as found:
        await attempt  # type: ignore[misc]
    return next(each for each in problems.Type if each.uri == found.value.problem.type)


@asynccontextmanager
async def known(dsn: str) -> AsyncIterator[tuple[Shop, Prover]]:
    """A shop whose worker has a secret of their own."""
    prover = Prover(CHEAP)
    async with shop.opened(dsn) as opened:
        await issue(opened, prover)
        await change(opened, prover)
        yield opened, prover


def test_an_initial_secret_signs_nothing(dsn: str) -> None:
    """Whoever gave it out knows it too; it proves nobody until its owner has put their own in its place."""

    async def work() -> None:
        prover = Prover(CHEAP)
        async with shop.opened(dsn) as opened:
            await issue(opened, prover)
            tried = proving.prove(opened.service, prover, WORKER, FIRST, NOW)
            assert await refused(tried) is problems.Type.SECRET_INITIAL
            await change(opened, prover)
            await proving.prove(opened.service, prover, WORKER, OWN, NOW)
            assert (
                await refused(proving.prove(opened.service, prover, WORKER, FIRST, NOW)) is problems.Type.SECRET_WRONG
            )

    run(work())


def test_a_secret_is_given_out_once(dsn: str) -> None:
    """Only a reason lets another take its place, it is initial again, and both stay in the books without the secret."""

    async def work() -> None:
        async with known(dsn) as (opened, prover):
            assert await refused(issue(opened, prover)) is problems.Type.SECRET_SET
            await proving.prove(opened.service, prover, WORKER, OWN, NOW)
            await issue(opened, prover, reason="forgotten")
            assert (
                await refused(proving.prove(opened.service, prover, WORKER, FIRST, NOW)) is problems.Type.SECRET_INITIAL
            )
            rows = await opened.owner.fetch("select issued_by, reason from tinebook.secret_issue order by number")
            assert [(row["issued_by"], row["reason"]) for row in rows] == [("office", None), ("office", "forgotten")]
            assert await refused(issue(opened, prover, badge="nobody")) is problems.Type.UNKNOWN_PERSON

    run(work())


def test_wrong_secrets_make_the_next_wait_longer(dsn: str) -> None:
    """Two are free; then nothing is looked at until the wait is over, not even the right one, and each wrong one doubles it."""

    async def work() -> None:
        async with known(dsn) as (opened, prover):

            async def tried(secret: str, after_s: float) -> ProblemRaised | None:
                try:
                    await proving.prove(opened.service, prover, WORKER, secret, NOW + timedelta(seconds=after_s))
                except ProblemRaised as found:
                    return found
                return None

            for _ in range(3):
                found = await tried("wrong", 0)
                assert found is not None
                assert found.problem.type == problems.Type.SECRET_WRONG.uri
            assert found is not None
            assert "5 s" in found.problem.detail
            found = await tried(OWN, 1)
            assert found is not None
            assert found.problem.type == problems.Type.TOO_MANY_ATTEMPTS.uri
            assert found.problem.status == 429
            assert int(found.headers["Retry-After"]) >= 4
            assert found.headers["Retry-After"] in found.problem.detail
            found = await tried("wrong", 6)
            assert found is not None
            assert "10 s" in found.problem.detail
            assert await tried(OWN, 10) is not None
            assert await tried(OWN, 17) is None
            found = await tried("wrong", 17)
            assert found is not None
            assert "1 wrong" in found.problem.detail, "the right one begins the count anew"

    run(work())


def test_a_burst_gets_no_further_than_one_by_one(dsn: str) -> None:
    """Of thirty guesses at once over thirty connections three are looked at, and the count is in the database."""

    async def work() -> None:
        async with known(dsn) as (opened, _):
            looked_at = 0

            class Counting(Prover):
                async def fits(self, kept: str, secret: str) -> bool:
                    nonlocal looked_at
                    looked_at += 1
                    return await super().fits(kept, secret)

            counting = Counting(CHEAP)

            async def guess(number: int) -> problems.Type:
                connection = await database.service_connection(dsn)
                try:
                    return await refused(proving.prove(connection, counting, WORKER, f"guess {number}", NOW))
                finally:
                    await connection.close()

            told = await asyncio.gather(*(guess(number) for number in range(30)))
            assert looked_at == 3
            assert told.count(problems.Type.SECRET_WRONG) == 3
            assert told.count(problems.Type.TOO_MANY_ATTEMPTS) == 27
            kept = await opened.owner.fetchrow("select failures, blocked_until from tinebook.secret_attempt")
            assert kept is not None
            assert (kept["failures"], kept["blocked_until"]) == (3, NOW + timedelta(seconds=5))
            again = Prover(CHEAP)
            tried = proving.prove(opened.service, again, WORKER, OWN, NOW)
            assert await refused(tried) is problems.Type.TOO_MANY_ATTEMPTS, "another process knows of it too"

    run(work())


def test_changing_a_secret_is_limited_like_using_it(dsn: str) -> None:
    """The old one can't be guessed by changing it."""

    async def work() -> None:
        async with known(dsn) as (opened, prover):
            for _ in range(3):
                assert await refused(change(opened, prover, old="wrong guess")) is problems.Type.SECRET_WRONG
            assert await refused(change(opened, prover, old=OWN, new="another one")) is problems.Type.TOO_MANY_ATTEMPTS

    run(work())


@pytest.mark.parametrize("new", [WORKER, f" {WORKER.lower()}", FIRST])
def test_a_secret_is_something_else_than_what_everybody_sees(dsn: str, new: str) -> None:
    """Neither the badge nor the old secret is taken for a new one."""

    async def work() -> None:
        prover = Prover(CHEAP)
        async with shop.opened(dsn) as opened:
            await issue(opened, prover)
            assert await refused(change(opened, prover, new=new)) is problems.Type.INVALID_REQUEST

    run(work())


def test_a_counted_attempt_is_never_taken_back(dsn: str) -> None:
    """Within a transaction of somebody else's nothing is compared: its end could take the count back."""

    async def work() -> None:
        async with known(dsn) as (opened, prover), opened.service.transaction():
            with pytest.raises(RuntimeError, match="transaction of their own"):
                await proving.prove(opened.service, prover, WORKER, OWN, NOW)

    run(work())


def test_a_hash_is_argon2id_with_the_cost_of_the_settings(dsn: str) -> None:
    """RFC 9106, section 4, second recommended option: three passes, 64 MiB, four lanes, salt of 16 bytes, tag of 32."""

    async def work() -> None:
        config = Settings()
        assert config.cost == Cost(passes=3, memory_kib=65_536, lanes=4)
        kept = await Prover(config.cost).hashed(OWN)
        _, kind, version, cost, salt, tag = kept.split("$")
        assert (kind, version, cost) == ("argon2id", "v=19", "m=65536,t=3,p=4")
        assert (len(salt), len(tag)) == (22, 43), "16 and 32 bytes in base64 without padding"
        async with known(dsn) as (opened, _):
            with pytest.raises(asyncpg.CheckViolationError):
                await opened.service.execute("update tinebook.person_secret set hash = 'plain'")

    run(work())


def test_a_hash_follows_the_settings(dsn: str) -> None:
    """Where the cost was raised, the next use of a secret keeps it at the new cost."""

    async def work() -> None:
        async with known(dsn) as (opened, _):
            dearer = Prover(Cost(passes=2, memory_kib=128, lanes=1))
            await proving.prove(opened.service, dearer, WORKER, OWN, NOW)
            kept = await opened.owner.fetchval("select hash from tinebook.person_secret")
            assert "$m=128,t=2,p=1$" in kept
            await proving.prove(opened.service, dearer, WORKER, OWN, NOW)

    run(work())


def test_memory_and_lanes_go_together() -> None:
    """RFC 9106, 3.1: the memory is 8 KiB for each lane at least."""
    with pytest.raises(SettingsError, match="ARGON2_MEMORY_KIB"):
        settings.read({"TINEBOOK_ARGON2_MEMORY_KIB": "16", "TINEBOOK_ARGON2_LANES": "4"})


def test_secrets_go_nowhere(service: Started, dsn: str, caplog: pytest.LogCaptureFixture) -> None:
    """Neither a secret nor its hash stands in a reply, in the feed, in the log, or in a table of people but its own."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            said: list[httpx.Response] = [
                await client.put("/v1/people/B-1", json={"name": "R. Example"}),
                await client.post("/v1/people/B-1/secret", json={"secret": FIRST}),
                await client.put("/v1/people/B-1/secret", json={"old": FIRST, "new": OWN}),
                await client.put("/v1/people/B-1/secret", json={"old": "not it at all", "new": "still another"}),
                await client.get("/v1/people"),
                await client.get("/v1/feed"),
            ]
            assert [each.status_code for each in said] == [200, 201, 200, 403, 200, 200]
            async with database.owner(dsn) as owner:
                kept = await owner.fetchval("select hash from tinebook.person_secret")
            for text in (*(each.text for each in said), caplog.text):
                for hidden in (FIRST, OWN, "not it at all", kept):
                    assert hidden not in text

    run(work())


def test_only_an_administrator_gives_one_out(service: Started, dsn: str) -> None:
    """A planner doesn't; and any token may carry the change, since the old secret says who it is."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await client.put("/v1/people/B-1", json={"name": "R. Example"})
            planner = {"Authorization": f"Bearer {await make_token(dsn, Scope.PLANNER)}"}
            bench = {"Authorization": f"Bearer {await make_token(dsn, Scope.BENCH)}"}
            assert (
                await client.post("/v1/people/B-1/secret", json={"secret": FIRST}, headers=planner)
            ).status_code == 403
            assert (await client.post("/v1/people/B-1/secret", json={"secret": "short"})).status_code == 422
            assert (await client.post("/v1/people/B-1/secret", json={"secret": FIRST})).status_code == 201
            told = {"old": FIRST, "new": OWN}
            assert (await client.put("/v1/people/B-1/secret", json=told, headers=bench)).status_code == 200

    run(work())
