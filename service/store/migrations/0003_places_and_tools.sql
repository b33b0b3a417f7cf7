-- Until when a tool's last check holds, where connectors are, and which of them a work order touched.

-- The last day of the tool's check; none where the shop does not say.
alter table tinebook.tool add column due_on date;

-- Where a connector is, as its state says: kept by each write beside the state, so that it can be looked for.
alter table tinebook.head add column asset text, add column zone text, add column "position" text;

-- Read once from the states that are there. One that can't be read has no place until `tinebook rebuild` writes it anew.
create function tinebook.placed(state bytea) returns jsonb language plpgsql as $$
begin
    return convert_from(state, 'UTF8')::jsonb -> 0;
exception when others then
    return null;
end;
$$;
update tinebook.head as h
set asset = p.whole ->> 4, zone = p.whole ->> 5, "position" = p.whole ->> 6
from (select connector, tinebook.placed(state) as whole from tinebook.head) as p
where p.connector = h.connector and coalesce(p.whole ->> 4, p.whole ->> 5, p.whole ->> 6) is not null;
-- squawk-ignore ban-drop-function
drop function tinebook.placed(bytea);

-- The service does not run beside a migration, so nobody waits for an index to be built.
-- squawk-ignore require-concurrent-index-creation
create index head_by_asset on tinebook.head (asset, zone, "position") where asset is not null;
-- squawk-ignore require-concurrent-index-creation
create index head_by_zone on tinebook.head (zone, "position") where zone is not null;
-- squawk-ignore require-concurrent-index-creation
create index head_by_position on tinebook.head ("position") where "position" is not null;

-- Which entries state which work order, from the bytes that were hashed, so that no entry need be touched. In RFC 8785 form a
-- quote within a text is never bare, so what stands between these quotes is the field and nothing else. It ends at an escaped
-- quote too: who looks for a work order compares it whole.
-- squawk-ignore require-concurrent-index-creation
create index entry_by_work_order on tinebook.entry
    (split_part(split_part(encode(body, 'escape'), '"work_order":"', 2), '"', 1), connector)
    where position('"work_order":"'::bytea in body) > 0;
