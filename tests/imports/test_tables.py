"""`tinebook import` with tables, as a planner uses it: checked first, written whole, twice without doubling."""

import asyncio
import os
import sys
from pathlib import Path
from typing import Any

import pytest

from service.store import database
from service.workflow import enrolling, registering
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run
from tests.test_cli import Owner

WHEN = "2026-11-02T09:30:00+01:00"


@pytest.fixture
def owner(dsn: str, tmp_path: Path) -> Owner:
    """Somebody at a shell, with a database of his own."""
    return Owner(dsn, tmp_path)


def table(owner: Owner, *lines: str, name: str = "table.csv") -> str:
    """A table as a file."""
    path = owner.directory / name
    path.write_text("".join(f"{each}\n" for each in lines), newline="")
    return str(path)


def shown(service: Started, *serials: str) -> list[dict[str, Any]]:
    """Connectors as the API shows them."""

    async def work() -> list[dict[str, Any]]:
        async with service() as client:
            found = []
            for serial in serials:
                (line,) = (await client.get("/v1/connectors", params={"mark": serial})).json()["connectors"]
                found.append((await client.get(f"/v1/connectors/{line['id']}")).json())
            return found

    made: list[dict[str, Any]] = run(work())
    return made


def counted(owner: Owner, name: str) -> int:
    """How many rows a table of the database has."""

    async def work() -> int:
        async with database.owner(owner.dsn) as connection:
            found: int = await connection.fetchval(f"select count(*) from tinebook.{name}")
            return found

    made: int = run(work())
    return made


CONNECTORS = (
    "serial;cage;part_number;history;populated;rating;rating_basis;rating_document",
    "EX-1;0CVA5;D38999/26WD19SN;new;true;10;house;Shop practice 7",
    "EX-2;;D38999/26WE35SN;unknown;;;;",
)


def test_connectors_are_registered_once(owner: Owner, service: Started) -> None:
    """A table registers its connectors with cavities by part number; again it changes nothing, and all of it is proved."""
    path = table(owner, *CONNECTORS)
    dry = owner.run("import", "connectors", path, "--dry-run")
    assert (dry.exit_code, dry.stdout) == (0, "2 rows can be imported\n")
    assert counted(owner, "connector") == 0
    assert owner.run("import", "connectors", path).stdout == "2 registered, 0 already registered, 0 refused\n"
    assert owner.run("import", "connectors", path).stdout == "0 registered, 2 already registered, 0 refused\n"
    one, two = shown(service, "EX-1", "EX-2")
    assert (one["family"], len(one["cavities"]), one["rating"]["value"], one["cavities"][0]["cycles_begun"]) == (
        "38999-III",
        19,
        10,
        1,
    )
    assert (two["cage"], len(two["cavities"]), two["rating"], two["wear"]) == (None, 55, None, "unknown")
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_a_flaw_anywhere_keeps_everything_out(owner: Owner) -> None:
    """Every flaw is named by row and column, also where the catalogue knows no cavities, and nothing is written."""
    path = table(
        owner,
        *CONNECTORS,
        ";0CVA5;D38999/26WD19SN;new;;;;",
        "EX-3;0CVAO;D38999/26WD19SN;new;maybe;;;",
        "EX-4;;D38999/26WJ35SN;new;;;;",
        "EX-5;;;new;;;;",
        "EX-6;;D38999/26WD19SN;new;;10;;",
        "EX-1;0CVA5;D38999/26WD19SN;new;;;;",
    )
    failed = owner.run("import", "connectors", path)
    assert failed.exit_code == 1
    said = [each.removeprefix(f"{path}: ") for each in failed.stderr.splitlines() if each.startswith(path)]
    assert [each.split(": ")[0] for each in said] == [
        "row 4, column serial",
        "row 5, column cage",
        "row 5, column populated",
        "row 6, column part_number",
        "row 7, column part_number",
        "row 8, column rating_basis",
        "row 9, column serial",
    ]
    assert "row 2" in said[-1]
    assert "nothing was imported" in failed.stderr
    assert counted(owner, "connector") == 0


def test_what_the_books_say_otherwise_is_a_flaw(owner: Owner, service: Started) -> None:
    """A connector that is registered with another rating, or under another history, keeps the whole table out."""

    async def register() -> None:
        async with service() as client:
            asked = registration(
                "EX-1", cage="0CVA5", part_number="D38999/26WD19SN", rating={"value": 8, "basis": "house"}
            )
            await client.post("/v1/connectors", json={k: v for k, v in asked.items() if k != "cavities"})

    run(register())
    failed = owner.run("import", "connectors", table(owner, *CONNECTORS))
    assert failed.exit_code == 1
    assert "row 2, column populated: serial 'EX-1' is registered as" in failed.stderr
    assert "another populated, rating" in failed.stderr
    assert counted(owner, "connector") == 1


def test_cavity_sets_come_first(owner: Owner, service: Started) -> None:
    """Cavities that the catalogue does not list come from a set, by its name or the part number; a newer set holds for later."""
    sets = table(
        owner,
        "set,cavity,contact_size,source",
        "Rack 3,C,20,drawing 12",
        "Rack 3,c,16,drawing 12",
        "D38999/26WJ35SN,1,22D,",
        name="sets.csv",
    )
    assert owner.run("import", "cavities", sets, "--dry-run").stdout == "2 cavity sets can be imported\n"
    assert owner.run("import", "cavities", sets).stdout == "2 cavity sets new or changed, 0 as they were\n"
    assert owner.run("import", "cavities", sets).stdout == "0 cavity sets new or changed, 2 as they were\n"
    lines = ("serial,part_number,cavity_set,history", "EX-1,,Rack 3,new", "EX-2,D38999/26WJ35SN,,new")
    assert owner.run("import", "connectors", table(owner, *lines)).exit_code == 0
    one, two = shown(service, "EX-1", "EX-2")
    assert [(each["id"], each["contact_size"]) for each in one["cavities"]] == [("C", "20"), ("c", "16")]
    assert ([each["id"] for each in two["cavities"]], two["cavity_ids"], two["family"]) == (["1"], "given", "38999-III")
    newer = table(owner, "set,cavity,contact_size", "Rack 3,D,20", name="newer.csv")
    assert owner.run("import", "cavities", newer).exit_code == 0
    assert owner.run("import", "connectors", table(owner, lines[0], "EX-3,,Rack 3,new")).exit_code == 0
    (three,) = shown(service, "EX-3")
    assert [each["id"] for each in three["cavities"]] == ["D"]
    missing = owner.run("import", "connectors", table(owner, lines[0], "EX-4,,Rack 4,new"))
    assert "row 2, column cavity_set: there is no cavity set 'Rack 4'" in missing.stderr


def test_a_cavity_set_with_a_flaw(owner: Owner) -> None:
    """A cavity that stands twice, or a set whose rows are apart, is named and keeps all sets out."""
    path = table(owner, "set,cavity,contact_size", "A,1,20", "A,1,20", "B,1,20", "A,2,20")
    failed = owner.run("import", "cavities", path)
    assert failed.exit_code == 1
    assert "row 3, column cavity: stands in row 2 already" in failed.stderr
    assert "row 5, column set: was there before" in failed.stderr
    assert counted(owner, "cavity_set") == 0


def test_placements_and_carry_ins(owner: Owner, service: Started) -> None:
    """Places and opening counts are recorded from tables, counted once however often they are imported, parked if early."""
    places = table(
        owner,
        "connector,performed_at,performed_by,asset,zone,position",
        f"EX-1,{WHEN},badge 117,TN-01,Z100,P1",
        f"EX-2,{WHEN},badge 117,TN-01,Z100,P2",
        name="places.csv",
    )
    counts = table(
        owner,
        "connector\tcavity\tperformed_at\tperformed_by\tinsertions\tremovals\toccupied\tsource",
        f"EX-2\t14\t{WHEN}\tbadge 117\t4\t3\ttrue\tcard 12",
        f"EX-2\t15\t{WHEN}\tbadge 117\t9\t8\ttrue\tcard 12",
        name="counts.csv",
    )
    assert owner.run("import", "connectors", table(owner, *CONNECTORS[:2])).exit_code == 0
    first = owner.run("import", "placements", places)
    assert first.stdout == "1 recorded, 0 already recorded, 1 parked, 0 refused\n"
    assert owner.run("import", "carry-ins", counts).stdout == "0 recorded, 0 already recorded, 2 parked, 0 refused\n"
    assert owner.run("import", "connectors", table(owner, *CONNECTORS)).exit_code == 0
    again = owner.run("import", "placements", places)
    assert again.stdout == "0 recorded, 2 already recorded, 0 parked, 0 refused\n"
    one, two = shown(service, "EX-1", "EX-2")
    assert one["place"] == {"asset": "TN-01", "zone": "Z100", "position": "P1"}
    assert two["place"]["position"] == "P2"
    begun = {each["id"]: each["cycles_begun"] for each in two["cavities"]}
    assert (begun["14"], begun["15"], begun["16"]) == (4, 9, 0)
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_a_cavity_that_is_not_there_keeps_the_table_out(owner: Owner) -> None:
    """A count for a cavity that the connector does not have is found by the check, before anything is written."""
    assert owner.run("import", "connectors", table(owner, *CONNECTORS)).exit_code == 0
    path = table(
        owner,
        "connector,cavity,performed_at,performed_by,insertions",
        f"EX-1,A,{WHEN},badge 117,4",
        f"EX-1,a,{WHEN},badge 117,4",
        f"EX-9,a,{WHEN},badge 117,4",
        f"EX-1,A,{WHEN},badge 117,4",
    )
    failed = owner.run("import", "carry-ins", path)
    assert failed.exit_code == 1
    assert (
        "row 3, column cavity: the connector has no cavity 'a'. Ids are case-sensitive: is 'A' meant?" in failed.stderr
    )
    assert "row 5: says the same as, or has the id of, row 2" in failed.stderr
    assert counted(owner, "receipt") == 0


def test_entries_as_a_table(owner: Owner, service: Started) -> None:
    """A table may hold entries of any kind; what is malformed about one is named by its column."""
    assert (
        owner.run("import", "connectors", table(owner, CONNECTORS[0], "EX-1;;D38999/26WD19SN;new;;;;")).exit_code == 0
    )
    header = "connector,kind,cavity,performed_at,performed_by,force_n,held"
    path = table(
        owner,
        header,
        f"EX-1,insertion,A,{WHEN},badge 117,,",
        f"EX-1,seating_test,A,{WHEN},badge 117,44.5,true",
    )
    assert owner.run("import", "entries", path).stdout == "2 recorded, 0 already recorded, 0 parked, 0 refused\n"
    (one,) = shown(service, "EX-1")
    assert (one["cavities"][0]["cycles_begun"], one["cavities"][0]["held"]) == (1, True)
    failed = owner.run(
        "import", "entries", table(owner, header, f"EX-1,insertion,,{WHEN},x,,", f"EX-1,fitting,A,{WHEN},x,,")
    )
    assert "row 2, column cavity: an insertion happens in one cavity" in failed.stderr
    assert "row 3, column kind: 'fitting'" in failed.stderr


def test_an_import_that_was_cut_off_goes_on(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was registered before an import was stopped stays; the same command goes on from there and doubles nothing."""
    monkeypatch.setattr(enrolling, "CHUNK", 10)
    path = table(owner, "serial,part_number,history", *(f"EX-{n},D38999/26WD19SN,new" for n in range(35)))
    write, calls = registering.write, []

    async def stopped(*arguments: Any) -> None:
        calls.append(arguments)
        if len(calls) == 3:
            raise KeyboardInterrupt
        await write(*arguments)

    monkeypatch.setattr(registering, "write", stopped)
    cut = owner.run("import", "connectors", path)
    assert cut.exit_code == 1
    assert "the same command goes on from there" in cut.stderr
    assert counted(owner, "connector") == 20
    monkeypatch.setattr(registering, "write", write)
    assert owner.run("import", "connectors", path).stdout == "15 registered, 20 already registered, 0 refused\n"
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_registered_in_bulk_is_registered_as_one_by_one(owner: Owner, service: Started) -> None:
    """A connector from a table is to the byte what the API would have made of the same registration, entries that wait included."""

    async def through_the_api() -> list[dict[str, Any]]:
        async with service() as client:
            await post(client, entry("insertion", "A", serial="EX-1"), entry("insertion", "A", serial="EX-2"))
            asked = {"serial": "EX-2", "cage": "0CVA5", "part_number": "D38999/26WD19SN", "history": "new"}
            await client.post("/v1/connectors", json=asked)
            parked: list[dict[str, Any]] = (await client.get("/v1/parked")).json()["parked"]
            return parked

    assert [each["mark"] for each in run(through_the_api())] == ["EX-1"]
    path = table(
        owner, "serial,cage,part_number,history", "EX-1,0CVA5,D38999/26WD19SN,new", "EX-3,0CVA5,D38999/26WD19SN,new"
    )
    assert owner.run("import", "connectors", path).exit_code == 0
    one, two = shown(service, "EX-1", "EX-2")
    same = {"id": None, "serial": None, "chain_hash": None}
    assert one | same == two | same
    assert counted(owner, "parked") == 2
    assert counted(owner, "parked where joined is null") == 0
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_a_mark_in_a_table_registers_as_a_scan_does(owner: Owner, service: Started) -> None:
    """A table may hold what a scanner read instead of serials."""
    scan = "[)>\x1e06\x1d18S0CVA5EX-7\x1d1PD38999/26WD19SN\x1e\x04"
    assert owner.run("import", "connectors", table(owner, "mark,history", f"{scan},new")).exit_code == 0
    (one,) = shown(service, "EX-7")
    assert (one["serial"], one["cage"], one["part_number"]) == ("EX-7", "0CVA5", "D38999/26WD19SN")
    both = owner.run("import", "connectors", table(owner, "mark,serial,history", f"{scan},EX-7,new", ",,new"))
    assert "row 2, column serial: each row has either a serial or a mark" in both.stderr
    assert "row 3, column serial" in both.stderr


def test_the_house_rating_in_bulk(owner: Owner, service: Started) -> None:
    """Connectors of a table without a rating take the house's."""

    async def state() -> None:
        async with service() as client:
            body = {"what": "rating", "family": "38999-III", "value": {"cycles": 7, "basis": "house"}, "reason": "test"}
            await client.post("/v1/house-values", json=body)

    run(state())
    assert owner.run("import", "connectors", table(owner, *CONNECTORS)).exit_code == 0
    one, two = shown(service, "EX-1", "EX-2")
    assert (one["rating"]["value"], two["rating"]["value"], two["rating"]["verified"]) == (10, 7, False)


COORDINATES = "standard,arrangement,cavity,x_mm,y_mm,source"
TRIANGLE = (
    "MIL-STD-1560,9-98,A,1.5,1,invented",
    "MIL-STD-1560,9-98,B,-1.5,1,invented",
    "MIL-STD-1560,9-98,C,0,-2,invented",
)


def test_coordinates_are_imported_and_shown(owner: Owner, service: Started) -> None:
    """True coordinates come from a table, from whichever side they were read, and the arrangement is schematic no more."""
    path = table(owner, COORDINATES, *TRIANGLE)
    assert (
        owner.run("import", "coordinates", path).stdout
        == "coordinates of 1 arrangements new or changed, 0 as they were\n"
    )
    behind = table(
        owner,
        f"{COORDINATES},view",
        *(
            f"{each.replace(',1.5', ',X').replace(',-1.5', ',1.5').replace(',X', ',-1.5')},socket_front"
            for each in TRIANGLE
        ),
    )
    assert (
        owner.run("import", "coordinates", behind).stdout
        == "coordinates of 0 arrangements new or changed, 1 as they were\n"
    )

    async def work() -> Any:
        async with service() as client:
            return (await client.get("/v1/arrangements/MIL-STD-1560/9-98")).json()

    found = run(work())
    assert (found["schematic"], found["coordinates_source"]) == (False, "invented")
    assert [(each["id"], each["x_mm"], each["y_mm"]) for each in found["cavities"]] == [
        ("A", 1.5, 1.0),
        ("B", -1.5, 1.0),
        ("C", 0.0, -2.0),
    ]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (TRIANGLE[:2], ["has 3 cavities, here are 2", "cavity 'C' is missing"]),
        ((*TRIANGLE[:2], TRIANGLE[2].replace(",C,", ",c,")), ["has no cavity 'c'", "cavity 'C' is missing"]),
        ((*TRIANGLE[:2], TRIANGLE[1].replace(",B,", ",C,")), ["cavities 'B' and 'C' are in one place"]),
        ((*TRIANGLE, TRIANGLE[2].replace(",-2,", ",2,")), ["cavity 'C' stands twice", "here are 4"]),
        ((*TRIANGLE[:2], TRIANGLE[2].replace(",-2,", ",-2000,")), ["give millimetres"]),
        ((*TRIANGLE[:2], TRIANGLE[2].replace("invented", "other")), ["one source and one view"]),
        (("MIL-STD-1560,99-99,A,0,0,x",), ["the catalogue has no arrangement 99-99"]),
        (("MIL-STD-1560,9-98,A,nan,0,x",), ["row 2, column x_mm: 'nan': is a number"]),
        (("MIL-STD-1560,9-98,A,0,0,",), ["row 2, column source: is empty"]),
    ],
)
def test_coordinates_that_do_not_fit(owner: Owner, lines: tuple[str, ...], said: list[str]) -> None:
    """Coordinates that are not exactly those of the arrangement's cavities are refused, and say what does not fit."""
    failed = owner.run("import", "coordinates", table(owner, COORDINATES, *lines))
    assert failed.exit_code == 1
    for each in said:
        assert each in failed.stderr
    assert counted(owner, "coordinates") == 0


def test_two_imports_at_once(owner: Owner) -> None:
    """Two programs that import the same table at the same time register each connector once."""
    path = table(owner, "serial,part_number,history", *(f"EX-{n},D38999/26WD19SN,new" for n in range(300)))

    async def both() -> list[Any]:
        started = [
            await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "service.cli", "import", "connectors", path),
                env={**os.environ, "TINEBOOK_DSN": owner.dsn},
                stdout=asyncio.subprocess.PIPE,
            )
            for _ in range(2)
        ]
        return [((await each.communicate())[0].decode(), each.returncode) for each in started]

    done = run(both())
    assert [status for _, status in done] == [0, 0]
    assert counted(owner, "connector") == 300
    assert sum(int(said.split(" ")[0]) for said, _ in done) == 300
