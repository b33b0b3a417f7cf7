-- What another system keeps in step here, and answers that are kept for whoever asks twice.

-- name: assets_that_hold
-- What is stated of these assets.
select w.place, a.type, a.serial, a.withdrawn_on
from unnest($1::text[]) with ordinality as w (asset, place)
cross join lateral (
    select s.type, s.serial, s.withdrawn_on
    from tinebook.asset as s
    where s.asset = w.asset
    order by s.number desc
    limit 1
) as a;

-- name: record_assets
-- Keep statements of what assets are.
insert into tinebook.asset (asset, type, serial, withdrawn_on, recorded_by, recorded_at)
select n.asset, n.type, n.serial, n.withdrawn_on, $5::text, $6::timestamptz
from unnest($1::text[], $2::text[], $3::text[], $4::date[]) as n (asset, type, serial, withdrawn_on);

-- name: asset_page
-- A page of the statements of assets that hold, by asset; all, or those of a type.
select a.asset, a.type, a.serial, a.withdrawn_on, a.recorded_by, a.recorded_at
from (
    select distinct on (s.asset) s.asset, s.type, s.serial, s.withdrawn_on, s.recorded_by, s.recorded_at
    from tinebook.asset as s
    where $1::text is null or s.asset > $1::text
    order by s.asset, s.number desc
) as a
where $2::text is null or a.type = $2::text
order by a.asset
limit $3::integer;

-- name: places_that_hold
-- What is stated of these places.
select w.place, p.part_number, p.present
from unnest($1::text[], $2::text[], $3::text[]) with ordinality as w (asset, zone, "position", place)
cross join lateral (
    select s.part_number, s.present
    from tinebook.place as s
    where s.asset = w.asset and s.zone = w.zone and s."position" = w."position"
    order by s.number desc
    limit 1
) as p;

-- name: record_places
-- Keep statements of what belongs where.
insert into tinebook.place (asset, zone, "position", part_number, present, recorded_by, recorded_at)
select n.asset, n.zone, n."position", n.part_number, n.present, $6::text, $7::timestamptz
from unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::boolean[]) as n (asset, zone, "position", part_number, present);

-- name: place_page
-- A page of the places that there are, in order, and the connectors that are recorded to be there.
select p.asset, p.zone, p."position", p.part_number, p.recorded_by, p.recorded_at,
       coalesce(h.connectors, '{}') as connectors, coalesce(h.serials, '{}') as serials,
       coalesce(h.part_numbers, '{}') as part_numbers
from (
    -- Each place once, in the order of the index; which statement of it is the newest is looked up place by place.
    select distinct on (s.asset, s.zone, s."position") s.asset, s.zone, s."position"
    from tinebook.place as s
    where ($1::text is null or (s.asset, s.zone, s."position") > ($1::text, $2::text, $3::text))
      and ($4::text is null or s.asset = $4::text)
      and ($5::text is null or s.zone = $5::text)
    order by s.asset, s.zone, s."position"
) as k
cross join lateral (
    select n.asset, n.zone, n."position", n.part_number, n.present, n.recorded_by, n.recorded_at
    from tinebook.place as n
    where n.asset = k.asset and n.zone = k.zone and n."position" = k."position"
    order by n.number desc
    limit 1
) as p
left join lateral (
    select array_agg(e.connector order by c.serial, e.connector) as connectors,
           array_agg(c.serial order by c.serial, e.connector) as serials,
           array_agg(c.part_number order by c.serial, e.connector) as part_numbers
    from tinebook.head as e
    join tinebook.connector as c on c.connector = e.connector
    where e.asset = p.asset and e."position" = p."position" and (p.zone = '' or e.zone = p.zone)
) as h on true
where p.present
order by k.asset, k.zone, k."position"
limit $6::integer;

-- name: tools_that_hold
-- What is stated of these tools.
select w.place, t.part_number, t.due_on
from unnest($1::text[]) with ordinality as w (mark, place)
join tinebook.tool as t on t.mark = w.mark;

-- name: put_tools
-- Keep tools on the shop's list, as they are said to be now.
insert into tinebook.tool (mark, part_number, due_on)
select n.mark, n.part_number, n.due_on
from unnest($1::text[], $2::text[], $3::date[]) as n (mark, part_number, due_on)
on conflict on constraint tool_key do update set part_number = excluded.part_number, due_on = excluded.due_on;

-- name: tell_several
-- Put several things that are not about a connector into the feed.
insert into tinebook.feed_arrival (id, topic, recorded_at, body)
select gen_random_uuid(), $1::text, $2::timestamptz, n.body
from unnest($3::bytea[]) as n (body);

-- name: claim_key
-- Whether nobody else is at work under this key of this client now; the claim ends with the transaction.
select pg_try_advisory_xact_lock(hashtextextended($1::text || chr(10) || $2::text, 7460012)) as claimed;

-- name: answer_under
-- What was answered under this key of this client.
select a.fingerprint, a.status, a.media_type, a.body
from tinebook.answer as a
where a.client = $1::text and a.key = $2::text;

-- name: keep_answer
-- Keep what is answered under a key of a client.
insert into tinebook.answer (client, key, fingerprint, status, media_type, body, answered_at)
values ($1::text, $2::text, $3::bytea, $4::smallint, $5::text, $6::bytea, $7::timestamptz);

-- name: drop_answers
-- Forget answers from before a moment.
delete from tinebook.answer where answered_at < $1::timestamptz;

-- name: veil
-- What is not shown any more, and what is shown instead.
select v.digest, v.pseudonym from tinebook.veiled as v;

-- name: pseudonym_of
-- Under what does somebody who left stand?
select p.pseudonym, p.left_on, p.recorded_at
from tinebook.pseudonym as p
join tinebook.veiled as v on v.pseudonym = p.pseudonym
where v.digest = tinebook.veil($1::text);

-- name: record_pseudonym
-- Somebody stands under a pseudonym from now on.
insert into tinebook.pseudonym (pseudonym, left_on, reason, despite_retention, recorded_by, recorded_at)
values ($1::text, $2::date, $3::text, $4::text, $5::text, $6::timestamptz);

-- name: veil_texts
-- These texts are shown as a pseudonym from now on; what is one already stays what it is.
insert into tinebook.veiled (digest, pseudonym)
select distinct tinebook.veil(t.shown), $1::text
from unnest($2::text[]) as t (shown)
on conflict on constraint veiled_key do nothing;

-- name: known_as
-- What a person is or was called.
select p.name as shown from tinebook.person as p where p.badge = $1::text
union
select s.name from tinebook.signature as s where s.badge = $1::text;

-- name: withdraw_all_authority
-- Take back whatever somebody may still sign for.
insert into tinebook.authority_withdrawal (authority, reason, withdrawn_by, withdrawn_at)
select a.number, $2::text, $3::text, $4::timestamptz
from tinebook.person_authority as a
where a.badge = $1::text
on conflict on constraint authority_withdrawal_once do nothing;

-- name: blank_name
-- A pseudonym in place of a name.
update tinebook.person as p set name = $2::text where p.badge = $1::text;

-- name: blank_certificates
-- A pseudonym in place of the numbers of certificates.
update tinebook.person_certificate as c set certificate_number = $2::text
where c.badge = $1::text and c.certificate_number is not null;

-- name: blank_identities
-- A pseudonym in place of the subjects at the identity provider, which stay told apart.
update tinebook.person_identity as i set subject = $2::text || ' ' || i.number where i.badge = $1::text;

-- name: count_signatures
-- How many signatures are there by a badge?
select count(*) as number from tinebook.signature as s where s.badge = $1::text;
