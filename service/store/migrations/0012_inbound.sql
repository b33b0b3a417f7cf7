-- What another system keeps in step here, answers that are kept for whoever asks twice, and what stands for people who left.

-- What an asset is. Every statement is kept; the newest holds.
create table tinebook.asset (
    asset text not null,
    number bigint generated always as identity,
    type text,
    serial text,
    withdrawn_on date,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint asset_key primary key (asset, number)
);

-- Which part number of connector belongs where. Every statement is kept; the newest of a place holds. An empty zone is none.
create table tinebook.place (
    asset text not null,
    zone text not null,
    "position" text not null,
    number bigint generated always as identity,
    part_number text,
    present boolean not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint place_key primary key (asset, zone, "position", number)
);

create trigger asset_is_append_only before update or delete on tinebook.asset
    for each row execute function tinebook.refuse_change();
create trigger asset_is_not_truncated before truncate on tinebook.asset
    for each statement execute function tinebook.refuse_change();
create trigger place_is_append_only before update or delete on tinebook.place
    for each row execute function tinebook.refuse_change();
create trigger place_is_not_truncated before truncate on tinebook.place
    for each statement execute function tinebook.refuse_change();

-- What is stated of assets goes into the feed like all else; what was stated before, now.
create trigger asset_goes_into_the_feed after insert on tinebook.asset
    referencing new table as news for each statement execute function tinebook.feed_statements('asset.described');
create trigger place_goes_into_the_feed after insert on tinebook.place
    referencing new table as news for each statement execute function tinebook.feed_statements('asset.position');
create trigger asset_usage_goes_into_the_feed after insert on tinebook.asset_usage
    referencing new table as news for each statement execute function tinebook.feed_statements('asset.usage');
create trigger visit_goes_into_the_feed after insert on tinebook.visit
    referencing new table as news for each statement execute function tinebook.feed_statements('asset.visit');
insert into tinebook.feed_arrival (id, topic, recorded_at, body)
select gen_random_uuid(), s.topic, s.recorded_at, convert_to(s.body::text, 'UTF8')
from (
    select 'asset.usage' as topic, u.number, u.recorded_at, to_jsonb(u) as body from tinebook.asset_usage as u
    union all
    select 'asset.visit', v.number, v.recorded_at, to_jsonb(v) from tinebook.visit as v
) as s
order by s.recorded_at, s.topic, s.number;

-- What was answered under an Idempotency-Key, written with what the request did. A log, not a record: old lines are dropped.
create table tinebook.answer (
    client text not null,
    key text not null,
    fingerprint bytea not null,
    status smallint not null,
    media_type text not null,
    body bytea not null,
    answered_at timestamptz not null,
    constraint answer_key primary key (client, key),
    constraint answer_fingerprint_is_sha256 check (octet_length(fingerprint) = 32)
);
create index answer_by_time on tinebook.answer (answered_at);

-- That somebody who left stands under a pseudonym from now on, why, and who decided it.
create table tinebook.pseudonym (
    number bigint generated always as identity,
    pseudonym text not null,
    left_on date not null,
    reason text not null,
    despite_retention text,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint pseudonym_key primary key (number),
    constraint pseudonym_once unique (pseudonym)
);

-- What must not be shown any more, and what is shown instead: only the SHA-256 of the installation's id and the text is kept.
create table tinebook.veiled (
    digest bytea not null,
    pseudonym text not null,
    constraint veiled_key primary key (digest),
    constraint veiled_by_pseudonym foreign key (pseudonym) references tinebook.pseudonym (pseudonym),
    constraint veiled_digest_is_sha256 check (octet_length(digest) = 32)
);

create trigger pseudonym_is_append_only before update or delete on tinebook.pseudonym
    for each row execute function tinebook.refuse_change();
create trigger pseudonym_is_not_truncated before truncate on tinebook.pseudonym
    for each statement execute function tinebook.refuse_change();
create trigger veiled_is_append_only before update or delete on tinebook.veiled
    for each row execute function tinebook.refuse_change();
create trigger veiled_is_not_truncated before truncate on tinebook.veiled
    for each statement execute function tinebook.refuse_change();

grant select, insert on tinebook.asset, tinebook.place, tinebook.pseudonym, tinebook.veiled to tinebook_service;
grant select, insert, delete on tinebook.answer to tinebook_service;

-- What is kept of a text that must not be shown any more.
create function tinebook.veil(shown text) returns bytea language sql stable
return sha256(convert_to((select i.installation from tinebook.installation as i)::text || ':' || shown, 'UTF8'));

-- Nobody who left gets a name or a certificate again, however often another system says so. 23001 is restrict_violation.
create function tinebook.refuse_return() returns trigger language plpgsql as $$
begin
    if exists (
        select from tinebook.veiled as v
        where v.digest = tinebook.veil(new.badge) and v.pseudonym is distinct from to_jsonb(new) ->> tg_argv[0]
    ) then
        raise exception 'a badge of somebody who left is refused' using errcode = '23001', constraint = 'person_has_left';
    end if;
    return new;
end;
$$;
create trigger person_has_left before insert or update on tinebook.person
    for each row execute function tinebook.refuse_return('name');
create trigger person_certificate_has_left before insert on tinebook.person_certificate
    for each row execute function tinebook.refuse_return('certificate_number');
create trigger person_identity_has_left before insert on tinebook.person_identity
    for each row execute function tinebook.refuse_return('subject');
create trigger person_authority_has_left before insert on tinebook.person_authority
    for each row execute function tinebook.refuse_return('what');

-- The one change of what is said of people: that the pseudonym of somebody who left, which is on the books with its reason, takes
-- the place of what they are known by. Nothing else of the row may differ.
create function tinebook.refuse_all_but_pseudonym() returns trigger language plpgsql as $$
begin
    if tg_op = 'UPDATE' then
        if (to_jsonb(new) - tg_argv[0]) = (to_jsonb(old) - tg_argv[0]) and exists (
            select from tinebook.veiled as v
            where v.digest = tinebook.veil(old.badge)
              and (to_jsonb(new) ->> tg_argv[0]) in (v.pseudonym, v.pseudonym || ' ' || old.number)
        ) then
            return new;
        end if;
    end if;
    raise exception '% of tinebook.% is refused: it is append-only', tg_op, tg_table_name using errcode = '23001';
end;
$$;
drop trigger person_certificate_is_append_only on tinebook.person_certificate;
create trigger person_certificate_is_append_only before update or delete on tinebook.person_certificate
    for each row execute function tinebook.refuse_all_but_pseudonym('certificate_number');
drop trigger person_identity_is_append_only on tinebook.person_identity;
create trigger person_identity_is_append_only before update or delete on tinebook.person_identity
    for each row execute function tinebook.refuse_all_but_pseudonym('subject');
grant update (certificate_number) on tinebook.person_certificate to tinebook_service;
grant update (subject) on tinebook.person_identity to tinebook_service;

-- The feed hears of it without a name and without the reason, which may hold one.
create function tinebook.feed_pseudonyms() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), 'person.pseudonymised', n.recorded_at,
           convert_to((to_jsonb(n) - array['reason', 'despite_retention'])::text, 'UTF8')
    from news as n
    order by n.number;
    return null;
end;
$$;
create trigger pseudonym_goes_into_the_feed after insert on tinebook.pseudonym
    referencing new table as news for each statement execute function tinebook.feed_pseudonyms();
