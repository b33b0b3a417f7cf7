-- People with their authority, what they sign with, and what they signed. What gives authority and what was signed is never
-- changed or deleted; who may sign what is judged here as well as in the service, so that no other way in gets round it.

-- A certificate as it is from a day on; the newest that has begun holds. Without a number it has ended.
create table tinebook.person_certificate (
    number bigint generated always as identity,
    badge text not null,
    certificate_number text,
    certificate_kind text,
    from_on date not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint person_certificate_key primary key (number),
    constraint person_certificate_of_person foreign key (badge) references tinebook.person (badge),
    constraint person_certificate_is_whole check ((certificate_number is null) = (certificate_kind is null))
);
create index person_certificate_newest on tinebook.person_certificate (badge, from_on desc, number desc);

-- What somebody may sign for, from one day to another, in what scope: everything, a family of connectors, a shop's benches.
create table tinebook.person_authority (
    number bigint generated always as identity,
    badge text not null,
    what text not null,
    scope text not null,
    from_on date not null,
    until_on date,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint person_authority_key primary key (number),
    constraint person_authority_of_person foreign key (badge) references tinebook.person (badge),
    constraint person_authority_of_a_kind check (what in ('performs', 'inspects', 'approves')),
    constraint person_authority_in_a_scope check (scope ~ '^(all|family:.+|shop:.+)$'),
    constraint person_authority_ends_after_it_begins check (until_on >= from_on)
);
create index person_authority_by_badge on tinebook.person_authority (badge, what);

-- Authority that was taken back. It stops every signature from then on; those before it stand.
create table tinebook.authority_withdrawal (
    authority bigint not null,
    reason text not null,
    withdrawn_by text not null,
    withdrawn_at timestamptz not null,
    constraint authority_withdrawal_once primary key (authority),
    constraint authority_withdrawal_of_authority foreign key (authority) references tinebook.person_authority (number)
);

-- Who somebody is to the identity provider; the newest of a badge holds. One that was ever one person's is never another's.
create table tinebook.person_identity (
    number bigint generated always as identity,
    badge text not null,
    issuer text not null,
    subject text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint person_identity_key primary key (number),
    constraint person_identity_of_person foreign key (badge) references tinebook.person (badge),
    constraint person_identity_is_of_one_person unique (issuer, subject)
);
create index person_identity_newest on tinebook.person_identity (badge, number desc);

-- What a secret is known by: argon2id, one a badge. An initial one, which somebody else knows too, signs nothing yet.
create table tinebook.person_secret (
    badge text not null,
    hash text not null,
    initial boolean not null,
    set_at timestamptz not null,
    constraint person_secret_one_a_badge primary key (badge),
    constraint person_secret_of_person foreign key (badge) references tinebook.person (badge),
    constraint person_secret_is_argon2id check (hash like '$argon2id$%')
);

-- Who gave out an initial secret when, and why where it took the place of another. Never the secret.
create table tinebook.secret_issue (
    number bigint generated always as identity,
    badge text not null,
    reason text,
    issued_by text not null,
    issued_at timestamptz not null,
    constraint secret_issue_key primary key (number),
    constraint secret_issue_of_person foreign key (badge) references tinebook.person (badge)
);

-- Attempts with a badge since the last right one, counted before the secret is looked at, and until when none is taken.
create table tinebook.secret_attempt (
    badge text not null,
    failures integer not null,
    blocked_until timestamptz not null,
    constraint secret_attempt_one_a_badge primary key (badge),
    constraint secret_attempt_of_person foreign key (badge) references tinebook.person (badge)
);

-- Switches that concern signing, each with its reason; the newest of a name holds, and without one it is off.
create table tinebook.signing_rule (
    number bigint generated always as identity,
    name text not null,
    allowed boolean not null,
    reason text not null,
    recorded_by text not null,
    recorded_at timestamptz not null,
    constraint signing_rule_key primary key (number),
    constraint signing_rule_known check (name in ('same_person_inspection'))
);
create index signing_rule_newest on tinebook.signing_rule (name, number desc);

-- What was signed: the RFC 8785 form of what the screen showed, by whom with which certificate at that time, and what it means.
-- The seal covers all of it and the seal of the signature before it on the same subject.
create table tinebook.signature (
    number bigint generated always as identity,
    id uuid not null,
    subject text not null,
    reference text not null,
    meaning text not null,
    outcome text not null,
    remark text,
    badge text not null,
    name text not null,
    certificate_number text,
    certificate_kind text,
    method text not null,
    exception_reason text,
    canonical bytea not null,
    sha256 bytea not null,
    seal bytea not null,
    signed_at timestamptz not null,
    constraint signature_key primary key (id),
    constraint signature_number_once unique (number),
    constraint signature_of_person foreign key (badge) references tinebook.person (badge),
    constraint signature_of_a_subject check (subject in ('work_order', 'record', 'entries', 'transfer')),
    constraint signature_of_a_meaning check (meaning in ('performed', 'inspected', 'approved')),
    constraint signature_of_an_outcome check (outcome in ('accepted', 'refused')),
    constraint signature_by_a_method check (method in ('secret', 'openid')),
    constraint signature_of_what_was_shown check (sha256 = sha256(canonical)),
    constraint signature_seal_is_sha256 check (octet_length(seal) = 32),
    constraint refusal_is_of_an_inspection check (outcome = 'accepted' or (meaning = 'inspected' and coalesce(remark, '') <> '')),
    constraint inspection_is_of_work check (meaning <> 'inspected' or subject in ('work_order', 'entries')),
    constraint exception_is_of_an_inspection
        check (exception_reason is null or (meaning = 'inspected' and exception_reason <> '')),
    constraint entries_are_named_by_id
        check (subject <> 'entries' or reference ~ '^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}(,[0-9a-f-]{36})*$')
);
create index signature_by_subject on tinebook.signature (subject, reference, number);
create index signature_by_badge on tinebook.signature (badge, number);

-- Where a signature on the pages by way of the identity provider stands until somebody comes back from there.
create table tinebook.signing_attempt (
    digest bytea not null,
    request bytea not null,
    began_at timestamptz not null,
    expires_at timestamptz not null,
    constraint signing_attempt_key primary key (digest)
);
create index signing_attempt_by_end on tinebook.signing_attempt (expires_at);

-- The work that a subject is about, as the ledger has it: steps, not what is said about them. Nothing happened after it was
-- recorded. What was entered in error is no work, yet whoever is said to have done it is no stranger to it.
create function tinebook.signed_work(subject text, reference text)
returns table (
    connector uuid, entry uuid, kind text, performed_by text, happened_at timestamptz, bench text, is_void boolean
)
language sql stable as $$
    select e.connector, e.id, e.kind, tinebook.stated(e.body, 'performed_by'), least(e.performed_at, e.recorded_at),
           tinebook.stated(e.body, 'bench'),
           exists (select from tinebook.entry as c
                   where c.kind = 'correction' and c.connector = e.connector
                     and tinebook.stated(c.body, 'corrects') = e.id::text
                     and tinebook.stated(c.body, 'note') <> '')
    from tinebook.entry as e
    where signed_work.subject = 'work_order'
      and position('"work_order":"'::bytea in e.body) > 0
      and split_part(split_part(encode(e.body, 'escape'), '"work_order":"', 2), '"', 1)
          = split_part(encode(convert_to(to_json(signed_work.reference)::text, 'UTF8'), 'escape'), '"', 2)
      and tinebook.stated(e.body, 'work_order') = signed_work.reference
      and e.kind not in ('acceptance', 'correction', 'finding', 'resolution')
    union all
    select e.connector, e.id, e.kind, tinebook.stated(e.body, 'performed_by'), least(e.performed_at, e.recorded_at),
           tinebook.stated(e.body, 'bench'),
           exists (select from tinebook.entry as c
                   where c.kind = 'correction' and c.connector = e.connector
                     and tinebook.stated(c.body, 'corrects') = e.id::text
                     and tinebook.stated(c.body, 'note') <> '')
    from unnest(case when signed_work.subject = 'entries' then string_to_array(signed_work.reference, ',')::uuid[] end) as n (id)
    join tinebook.receipt as r on r.id = n.id
    join tinebook.entry as e on e.connector = r.connector and e.id = r.id
    where e.kind not in ('acceptance', 'correction', 'finding', 'resolution')
$$;

-- Whether somebody may sign for this at that time: authority that has begun, is not over and was not taken back, whose scope
-- covers every step. What is about no step needs authority for everything.
create function tinebook.may_sign(badge text, what text, subject text, reference text, at timestamptz)
returns boolean language sql stable as $$
    with valid as (
        select a.scope
        from tinebook.person_authority as a
        where a.badge = may_sign.badge and a.what = may_sign.what
          and a.from_on <= (may_sign.at at time zone 'UTC')::date
          and coalesce(a.until_on >= (may_sign.at at time zone 'UTC')::date, true)
          and not exists (select from tinebook.authority_withdrawal as w where w.authority = a.number)
    ), steps as (
        select c.family, b.shop
        from tinebook.signed_work(may_sign.subject, may_sign.reference) as s
        join tinebook.connector as c on c.connector = s.connector
        left join tinebook.bench as b on b.name = s.bench
        where not s.is_void
    )
    select exists (select from valid as v where v.scope = 'all')
        or (exists (select from steps)
            and not exists (
                select from steps as s
                where not exists (
                    select from valid as v where v.scope in ('family:' || s.family, 'shop:' || s.shop)
                )
            ))
$$;

-- What is said to have been performed by somebody, compared as people write their badges.
create function tinebook.same_badge(one text, other text) returns boolean language sql immutable parallel safe
return lower(btrim(one)) = lower(btrim(other));

-- Whoever did a step, or has signed that it was done, in the scope of a subject.
create function tinebook.is_performer(badge text, subject text, reference text) returns boolean language sql stable as $$
    select exists (
        select from tinebook.signed_work(is_performer.subject, is_performer.reference) as s
        where tinebook.same_badge(s.performed_by, is_performer.badge)
    ) or exists (
        select from tinebook.signature as g
        where g.subject = is_performer.subject and g.reference = is_performer.reference and g.meaning = 'performed'
          and tinebook.same_badge(g.badge, is_performer.badge)
    )
$$;

-- Every signature is judged here, one at a time on a subject. The constraints are named as the service tells them.
create function tinebook.judge_signature() returns trigger language plpgsql as $$
declare
    what constant text := case new.meaning when 'performed' then 'performs' when 'inspected' then 'inspects' else 'approves' end;
    broken text;
    last_work timestamptz;
    last_inspection tinebook.signature;
begin
    perform pg_advisory_xact_lock(hashtextextended(new.subject || ':' || new.reference, 746));
    -- Authority that is taken back at this moment is waited for, one way or the other.
    perform from tinebook.person as p where p.badge = new.badge for share;
    select max(s.happened_at) into last_work
    from tinebook.signed_work(new.subject, new.reference) as s where not s.is_void;
    select g.* into last_inspection
    from tinebook.signature as g
    where g.subject = new.subject and g.reference = new.reference and g.meaning = 'inspected' and g.id <> new.id
    order by g.number desc
    limit 1;
    broken := case
        when not tinebook.may_sign(new.badge, what, new.subject, new.reference, new.signed_at) then 'signer_has_authority'
        when not exists (select from tinebook.person as p where p.badge = new.badge and p.name = new.name)
            or (new.certificate_number, new.certificate_kind) is distinct from (
                select (c.certificate_number, c.certificate_kind)
                from (select 1) as one
                left join lateral (
                    select k.certificate_number, k.certificate_kind
                    from tinebook.person_certificate as k
                    where k.badge = new.badge and k.from_on <= (new.signed_at at time zone 'UTC')::date
                    order by k.from_on desc, k.number desc
                    limit 1
                ) as c on true
            ) then 'signer_is_as_of_then'
        when exists (select from tinebook.signature as g
                     where g.subject = new.subject and g.reference = new.reference and g.id <> new.id
                       and g.signed_at > new.signed_at) then 'signatures_are_in_order'
        when new.subject in ('work_order', 'entries') and last_work is null then 'signature_is_of_some_work'
        when new.signed_at < last_work then 'signature_is_not_before_the_work'
        when new.meaning = 'inspected' and new.exception_reason is null
            and tinebook.is_performer(new.badge, new.subject, new.reference) then 'inspector_is_no_performer'
        when new.exception_reason is not null and not coalesce((
                select r.allowed from tinebook.signing_rule as r
                where r.name = 'same_person_inspection' order by r.number desc limit 1), false) then 'exception_is_allowed'
        when new.exception_reason is not null
            and not tinebook.is_performer(new.badge, new.subject, new.reference) then 'exception_is_needed'
        when new.meaning in ('inspected', 'approved') and last_inspection.outcome = 'refused'
            and (new.meaning = 'approved' or last_work <= last_inspection.signed_at) then 'refusal_is_followed_by_rework'
    end;
    if broken is not null then
        raise exception 'signature % is refused: %', new.id, broken using errcode = '23514', constraint = broken;
    end if;
    return null;
end;
$$;
create constraint trigger signature_is_judged after insert on tinebook.signature
    for each row execute function tinebook.judge_signature();

create function tinebook.lock_person_of_authority() returns trigger language plpgsql as $$
begin
    perform from tinebook.person as p
    where p.badge = (select a.badge from tinebook.person_authority as a where a.number = new.authority)
    for update;
    return new;
end;
$$;
create trigger authority_withdrawal_waits_for_signatures before insert on tinebook.authority_withdrawal
    for each row execute function tinebook.lock_person_of_authority();

create trigger person_certificate_is_append_only before update or delete on tinebook.person_certificate
    for each row execute function tinebook.refuse_change();
create trigger person_certificate_is_not_truncated before truncate on tinebook.person_certificate
    for each statement execute function tinebook.refuse_change();
create trigger person_authority_is_append_only before update or delete on tinebook.person_authority
    for each row execute function tinebook.refuse_change();
create trigger person_authority_is_not_truncated before truncate on tinebook.person_authority
    for each statement execute function tinebook.refuse_change();
create trigger authority_withdrawal_is_append_only before update or delete on tinebook.authority_withdrawal
    for each row execute function tinebook.refuse_change();
create trigger authority_withdrawal_is_not_truncated before truncate on tinebook.authority_withdrawal
    for each statement execute function tinebook.refuse_change();
create trigger person_identity_is_append_only before update or delete on tinebook.person_identity
    for each row execute function tinebook.refuse_change();
create trigger person_identity_is_not_truncated before truncate on tinebook.person_identity
    for each statement execute function tinebook.refuse_change();
create trigger secret_issue_is_append_only before update or delete on tinebook.secret_issue
    for each row execute function tinebook.refuse_change();
create trigger secret_issue_is_not_truncated before truncate on tinebook.secret_issue
    for each statement execute function tinebook.refuse_change();
create trigger signing_rule_is_append_only before update or delete on tinebook.signing_rule
    for each row execute function tinebook.refuse_change();
create trigger signing_rule_is_not_truncated before truncate on tinebook.signing_rule
    for each statement execute function tinebook.refuse_change();
create trigger signature_is_append_only before update or delete on tinebook.signature
    for each row execute function tinebook.refuse_change();
create trigger signature_is_not_truncated before truncate on tinebook.signature
    for each statement execute function tinebook.refuse_change();

-- Into the feed: signatures whole, the rest without names, since a feed can't forget one. Nothing that proves a person goes there.
create function tinebook.feed_signatures() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select n.id, 'signature.made', n.signed_at,
           convert_to((to_jsonb(n) - array['canonical', 'sha256', 'seal'] || jsonb_build_object(
               'statement', convert_from(n.canonical, 'UTF8'),
               'sha256', encode(n.sha256, 'hex'),
               'seal', encode(n.seal, 'hex')
           ))::text, 'UTF8')
    from news as n
    order by n.number;
    return null;
end;
$$;
create trigger signature_goes_into_the_feed after insert on tinebook.signature
    referencing new table as news for each statement execute function tinebook.feed_signatures();
create trigger person_certificate_goes_into_the_feed after insert on tinebook.person_certificate
    referencing new table as news for each statement execute function tinebook.feed_statements('person.certificate');
create trigger person_authority_goes_into_the_feed after insert on tinebook.person_authority
    referencing new table as news for each statement execute function tinebook.feed_statements('person.authority');
create trigger signing_rule_goes_into_the_feed after insert on tinebook.signing_rule
    referencing new table as news for each statement execute function tinebook.feed_statements('signing.rule');

create function tinebook.feed_withdrawals() returns trigger language plpgsql as $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), 'person.authority_withdrawn', n.withdrawn_at,
           convert_to((to_jsonb(n) || jsonb_build_object('badge', a.badge, 'what', a.what, 'scope', a.scope))::text, 'UTF8')
    from news as n
    join tinebook.person_authority as a on a.number = n.authority
    order by n.authority;
    return null;
end;
$$;
create trigger authority_withdrawal_goes_into_the_feed after insert on tinebook.authority_withdrawal
    referencing new table as news for each statement execute function tinebook.feed_withdrawals();

grant select, insert on tinebook.person_certificate, tinebook.person_authority, tinebook.authority_withdrawal,
    tinebook.person_identity, tinebook.secret_issue, tinebook.signing_rule, tinebook.signature to tinebook_service;
grant select, insert, update on tinebook.person_secret, tinebook.secret_attempt to tinebook_service;
grant select, insert, delete on tinebook.signing_attempt to tinebook_service;
