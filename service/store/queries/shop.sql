-- What the shop holds beside the catalogue.

-- name: record_house_value
-- A figure of the shop's own; from now on it holds instead of an older one for the same.
insert into tinebook.house_value (what, family, part_number, contact_size, value, document, revision, paragraph, verified_by,
                                  verified_on, reason, recorded_by, recorded_at)
values ($1::text, $2::text, $3::text, $4::text, $5::jsonb, $6::text, $7::text, $8::text, $9::text, $10::text, $11::text,
        $12::text, $13::timestamptz)
returning number;

-- name: house_values
-- The newest figure for each kind, family, part number and size; one that is withdrawn stands without a value.
select distinct on (v.what, v.family, v.part_number, v.contact_size)
       v.number, v.what, v.family, v.part_number, v.contact_size, v.value, v.document, v.revision, v.paragraph,
       v.verified_by, v.verified_on, v.reason, v.recorded_by, v.recorded_at
from tinebook.house_value as v
order by v.what, v.family, v.part_number, v.contact_size, v.number desc;

-- name: house_value_page
-- Every figure that was ever recorded, newest first, and whether it still holds.
select v.number, v.what, v.family, v.part_number, v.contact_size, v.value, v.document, v.revision, v.paragraph,
       v.verified_by, v.verified_on, v.reason, v.recorded_by, v.recorded_at,
       v.value is not null and not exists (
           select from tinebook.house_value as later
           where later.number > v.number and later.what = v.what and later.family is not distinct from v.family
             and later.part_number is not distinct from v.part_number
             and later.contact_size is not distinct from v.contact_size
       ) as holds
from tinebook.house_value as v
where ($1::bigint is null or v.number < $1::bigint)
  and ($3::text is null or v.what = $3::text)
  and ($4::text is null or v.family = $4::text)
  and ($5::text is null or v.part_number = $5::text)
order by v.number desc
limit $2::integer;

-- name: record_cavity_sets
-- Lists of cavities under a part number or a name; each holds from now on instead of an older one of its name.
insert into tinebook.cavity_set (name, cavities, source, recorded_by, recorded_at)
select name, cavities, source, $4::text, $5::timestamptz
from unnest($1::text[], $2::jsonb[], $3::text[]) as news (name, cavities, source);

-- name: cavity_sets
-- The newest list of each of these names.
select found.name, found.cavities, found.source
from unnest($1::text[]) as wanted (name)
cross join lateral (
    select s.name, s.cavities, s.source
    from tinebook.cavity_set as s
    where s.name = wanted.name
    order by s.number desc
    limit 1
) as found;

-- name: record_coordinates
-- Where the cavities of these arrangements are; each holds from now on instead of an older one.
insert into tinebook.coordinates (standard, arrangement, points, source, recorded_by, recorded_at)
select standard, arrangement, points, source, $5::text, $6::timestamptz
from unnest($1::text[], $2::text[], $3::jsonb[], $4::text[]) as news (standard, arrangement, points, source);

-- name: coordinates
-- The newest coordinates of an arrangement.
select c.points, c.source, c.recorded_by, c.recorded_at
from tinebook.coordinates as c
where c.standard = $1::text and c.arrangement = $2::text
order by c.number desc
limit 1;
