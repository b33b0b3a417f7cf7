-- What the migrations make, for reading. Written by `python -m tests.store.schema`; a test keeps it current.

CREATE SCHEMA tinebook;

CREATE FUNCTION tinebook.feed_definitions() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    insert into tinebook.feed_arrival (id, topic, connector, number, recorded_at)
    select gen_random_uuid(), case n.number when 1 then 'connector.registered' else 'connector.revised' end,
           n.connector, n.number, n.recorded_at
    from news as n
    order by n.connector, n.number;
    return null;
end;
$$;

CREATE FUNCTION tinebook.feed_entries() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    insert into tinebook.feed_arrival (id, topic, connector, number, recorded_at)
    select n.id, 'entry.' || n.kind, n.connector, n.number, n.recorded_at
    from news as n
    order by n.connector, n.number;
    return null;
end;
$$;

CREATE FUNCTION tinebook.feed_parked() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), 'entry.parked', n.recorded_at,
           convert_to('{"mark":' || to_json(n.mark) || ',"reason":' || to_json(n.reason) || ',"recorded":', 'UTF8')
           || n.body || '}'::bytea
    from news as n
    order by n.recorded_at, n.id;
    return null;
end;
$$;

CREATE FUNCTION tinebook.feed_pseudonyms() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), 'person.pseudonymised', n.recorded_at,
           convert_to((to_jsonb(n) - array['reason', 'despite_retention'])::text, 'UTF8')
    from news as n
    order by n.number;
    return null;
end;
$$;

CREATE FUNCTION tinebook.feed_signatures() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
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

CREATE FUNCTION tinebook.feed_statements() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    insert into tinebook.feed_arrival (id, topic, recorded_at, body)
    select gen_random_uuid(), tg_argv[0], n.recorded_at,
           convert_to((to_jsonb(n) - array['cavities', 'points'])::text, 'UTF8')
    from news as n
    order by n.number;
    return null;
end;
$$;

CREATE FUNCTION tinebook.feed_withdrawals() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
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

CREATE FUNCTION tinebook.is_performer(badge text, subject text, reference text) RETURNS boolean
    LANGUAGE sql STABLE
    AS $$
    select exists (
        select from tinebook.signed_work(is_performer.subject, is_performer.reference) as s
        where tinebook.same_badge(s.performed_by, is_performer.badge)
    ) or exists (
        select from tinebook.signature as g
        where g.subject = is_performer.subject and g.reference = is_performer.reference and g.meaning = 'performed'
          and tinebook.same_badge(g.badge, is_performer.badge)
    )
$$;

CREATE FUNCTION tinebook.judge_signature() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
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

CREATE FUNCTION tinebook.lock_person_of_authority() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    perform from tinebook.person as p
    where p.badge = (select a.badge from tinebook.person_authority as a where a.number = new.authority)
    for update;
    return new;
end;
$$;

CREATE FUNCTION tinebook.may_sign(badge text, what text, subject text, reference text, at timestamp with time zone) RETURNS boolean
    LANGUAGE sql STABLE
    AS $$
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

CREATE FUNCTION tinebook.recorded_elsewhere(connector uuid, number integer) RETURNS boolean
    LANGUAGE sql STABLE
    AS $$
    select exists (
        select from tinebook.transfer as came
        where came.connector = recorded_elsewhere.connector and came.direction = 'in'
          and recorded_elsewhere.number <= came.entries
          and recorded_elsewhere.number > coalesce((
              select max(went.entries) from tinebook.transfer as went
              where went.connector = came.connector and went.direction = 'out' and went.number < came.number), 0)
    )
$$;

CREATE FUNCTION tinebook.refuse_all_but_pseudonym() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
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

CREATE FUNCTION tinebook.refuse_change() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    raise exception '% of tinebook.% is refused: the ledger is append-only', tg_op, tg_table_name
        using errcode = '23001', hint = 'Record a correction instead.';
end;
$$;

CREATE FUNCTION tinebook.refuse_gap() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    perform pg_advisory_xact_lock(7460020);
    if new.number <> (select coalesce(max(r.number), 0) + 1 from tinebook.record as r) then
        raise exception 'record % is out of turn', new.number
            using errcode = '23514', constraint = 'record_numbers_have_no_gaps';
    end if;
    return new;
end;
$$;

CREATE FUNCTION tinebook.refuse_return() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
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

CREATE FUNCTION tinebook.same_badge(one text, other text) RETURNS boolean
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN (lower(btrim(one)) = lower(btrim(other)));

CREATE FUNCTION tinebook.signed_work(subject text, reference text) RETURNS TABLE(connector uuid, entry uuid, kind text, performed_by text, happened_at timestamp with time zone, bench text, is_void boolean)
    LANGUAGE sql STABLE
    AS $$
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
      and not tinebook.recorded_elsewhere(e.connector, e.number)
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

CREATE FUNCTION tinebook.stated(body bytea, field text) RETURNS text
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN CASE WHEN (POSITION((convert_to((('"'::text || field) || '":"'::text), 'UTF8'::name)) IN (body)) = 0) THEN NULL::text WHEN (POSITION(('\x5c'::bytea) IN (body)) = 0) THEN split_part(split_part(convert_from(body, 'UTF8'::name), (('"'::text || field) || '":"'::text), 2), '"'::text, 1) ELSE ((convert_from(body, 'UTF8'::name))::jsonb #>> ARRAY['recorded'::text, 'entry'::text, field]) END;

CREATE TABLE tinebook.installation (
    only_one boolean DEFAULT true NOT NULL,
    installation uuid DEFAULT gen_random_uuid() NOT NULL,
    CONSTRAINT installation_once CHECK (only_one)
);

CREATE FUNCTION tinebook.veil(shown text) RETURNS bytea
    LANGUAGE sql STABLE
    RETURN sha256(convert_to(((((SELECT i.installation FROM tinebook.installation i))::text || ':'::text) || shown), 'UTF8'::name));

CREATE TABLE tinebook.answer (
    client text NOT NULL,
    key text NOT NULL,
    fingerprint bytea NOT NULL,
    status smallint NOT NULL,
    media_type text NOT NULL,
    body bytea NOT NULL,
    answered_at timestamp with time zone NOT NULL,
    CONSTRAINT answer_fingerprint_is_sha256 CHECK ((octet_length(fingerprint) = 32))
);

CREATE TABLE tinebook.asset (
    asset text NOT NULL,
    number bigint NOT NULL,
    type text,
    serial text,
    withdrawn_on date,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.asset ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.asset_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.asset_usage (
    asset text NOT NULL,
    day date NOT NULL,
    number bigint NOT NULL,
    flight_hours double precision,
    flight_cycles integer,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT asset_usage_states_something CHECK (((flight_hours IS NOT NULL) OR (flight_cycles IS NOT NULL)))
);

ALTER TABLE tinebook.asset_usage ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.asset_usage_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.authority_withdrawal (
    authority bigint NOT NULL,
    reason text NOT NULL,
    withdrawn_by text NOT NULL,
    withdrawn_at timestamp with time zone NOT NULL
);

CREATE TABLE tinebook.bench (
    name text NOT NULL COLLATE pg_catalog."C",
    shop text NOT NULL
);

CREATE TABLE tinebook.cavity_set (
    number bigint NOT NULL,
    name text NOT NULL,
    cavities jsonb NOT NULL,
    source text,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.cavity_set ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.cavity_set_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.checkpoint (
    size bigint NOT NULL,
    peaks bytea NOT NULL,
    body bytea NOT NULL,
    made_by text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    CONSTRAINT checkpoint_of_something CHECK ((size > 0)),
    CONSTRAINT checkpoint_peaks_are_hashes CHECK (((octet_length(peaks) > 0) AND ((octet_length(peaks) % 32) = 0)))
);

CREATE TABLE tinebook.connector (
    connector uuid NOT NULL,
    serial text NOT NULL,
    cage text,
    part_number text,
    family text,
    registered_at timestamp with time zone NOT NULL
);

CREATE TABLE tinebook.coordinates (
    number bigint NOT NULL,
    standard text NOT NULL,
    arrangement text NOT NULL,
    points jsonb NOT NULL,
    source text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.coordinates ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.coordinates_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.cycles_sum (
    family text NOT NULL COLLATE pg_catalog."C",
    rating integer NOT NULL,
    rating_verified boolean NOT NULL,
    cycles_begun integer NOT NULL,
    shard smallint NOT NULL,
    cavities bigint NOT NULL
)
WITH (fillfactor='50');

CREATE TABLE tinebook.definition (
    connector uuid NOT NULL,
    number integer NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    body bytea NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT definition_hash_is_sha256 CHECK ((octet_length(hash) = 32))
);

CREATE TABLE tinebook.delivery (
    delivery bigint NOT NULL,
    webhook uuid NOT NULL,
    event uuid NOT NULL,
    type text NOT NULL,
    "position" bigint,
    attempt integer NOT NULL,
    at timestamp with time zone NOT NULL,
    took_ms integer NOT NULL,
    outcome text NOT NULL,
    status integer,
    detail text NOT NULL
);

ALTER TABLE tinebook.delivery ALTER COLUMN delivery ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.delivery_delivery_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.entry (
    connector uuid NOT NULL,
    number integer NOT NULL,
    id uuid NOT NULL,
    kind text NOT NULL,
    cavity text,
    performed_at timestamp with time zone NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    body bytea NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT entry_hash_is_sha256 CHECK ((octet_length(hash) = 32))
);

CREATE TABLE tinebook.feed (
    "position" bigint NOT NULL,
    id uuid NOT NULL,
    topic text NOT NULL,
    connector uuid,
    number integer,
    recorded_at timestamp with time zone NOT NULL,
    body bytea
);

CREATE TABLE tinebook.feed_arrival (
    arrival bigint NOT NULL,
    id uuid NOT NULL,
    topic text NOT NULL,
    connector uuid,
    number integer,
    recorded_at timestamp with time zone NOT NULL,
    body bytea
);

ALTER TABLE tinebook.feed_arrival ALTER COLUMN arrival ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.feed_arrival_arrival_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.head (
    connector uuid NOT NULL,
    entries integer NOT NULL,
    hash bytea NOT NULL,
    definition integer NOT NULL,
    state bytea NOT NULL,
    asset text,
    zone text,
    "position" text,
    bench text,
    handed_over boolean DEFAULT false NOT NULL
)
WITH (fillfactor='70');

CREATE TABLE tinebook.house_value (
    number bigint NOT NULL,
    what text NOT NULL,
    family text,
    part_number text,
    contact_size text,
    value jsonb,
    document text,
    revision text,
    paragraph text,
    verified_by text,
    verified_on text,
    reason text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT house_value_by_size CHECK (((contact_size IS NOT NULL) = (what = ANY (ARRAY['pull'::text, 'tool'::text])))),
    CONSTRAINT house_value_for_something CHECK (((family IS NOT NULL) OR (part_number IS NOT NULL))),
    CONSTRAINT house_value_of_a_kind CHECK ((what = ANY (ARRAY['rating'::text, 'mating_rating'::text, 'nearing_fraction'::text, 'pull'::text, 'tool'::text, 'release'::text])))
);

ALTER TABLE tinebook.house_value ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.house_value_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.limit_line (
    connector uuid NOT NULL,
    rank smallint NOT NULL,
    urgency integer NOT NULL,
    wear text NOT NULL,
    limiting_cavity text NOT NULL,
    cycles_begun integer NOT NULL,
    rating integer,
    rating_verified boolean NOT NULL,
    remaining integer,
    worn_cavities integer NOT NULL,
    asset text,
    zone text,
    "position" text,
    unknown_cavities integer DEFAULT 0 NOT NULL,
    family text,
    part_number text,
    bench text
);

CREATE TABLE tinebook.mark (
    key text NOT NULL,
    connector uuid NOT NULL
);

CREATE TABLE tinebook.migration (
    number integer NOT NULL,
    name text NOT NULL,
    checksum text NOT NULL,
    applied_at timestamp with time zone DEFAULT now() NOT NULL
);

CREATE TABLE tinebook.open_discrepancy (
    connector uuid NOT NULL,
    number integer NOT NULL,
    code text NOT NULL COLLATE pg_catalog."C",
    cavity text NOT NULL COLLATE pg_catalog."C",
    entry uuid NOT NULL,
    rank smallint NOT NULL,
    performed_at timestamp with time zone NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    bench text,
    asset text,
    zone text,
    "position" text,
    family text,
    part_number text
);

CREATE TABLE tinebook.outlook_group (
    run bigint NOT NULL,
    number integer NOT NULL,
    body jsonb NOT NULL
);

CREATE TABLE tinebook.outlook_line (
    connector uuid NOT NULL,
    run bigint NOT NULL,
    number integer NOT NULL,
    entries integer NOT NULL,
    band smallint NOT NULL,
    due boolean NOT NULL,
    probability real[] NOT NULL,
    supposed real[],
    days_low real,
    days_middle real,
    days_high real,
    limiting_cavity text,
    remaining integer,
    rating integer,
    rating_verified boolean NOT NULL,
    events integer NOT NULL,
    units double precision NOT NULL
);

CREATE TABLE tinebook.outlook_part (
    run bigint NOT NULL,
    number integer NOT NULL,
    part_number text,
    family text,
    body jsonb NOT NULL
);

CREATE TABLE tinebook.outlook_run (
    run bigint NOT NULL,
    as_of timestamp with time zone NOT NULL,
    computed_at timestamp with time zone NOT NULL,
    computed_by text NOT NULL,
    body jsonb NOT NULL
);

CREATE TABLE tinebook.parked (
    id uuid NOT NULL,
    mark text NOT NULL,
    reason text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    digest bytea NOT NULL,
    body bytea NOT NULL,
    joined uuid
);

CREATE TABLE tinebook.parked_mark (
    key text NOT NULL,
    id uuid NOT NULL
);

CREATE TABLE tinebook.person (
    badge text NOT NULL,
    name text NOT NULL
);

CREATE TABLE tinebook.person_authority (
    number bigint NOT NULL,
    badge text NOT NULL,
    what text NOT NULL,
    scope text NOT NULL,
    from_on date NOT NULL,
    until_on date,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT person_authority_ends_after_it_begins CHECK ((until_on >= from_on)),
    CONSTRAINT person_authority_in_a_scope CHECK ((scope ~ '^(all|family:.+|shop:.+)$'::text)),
    CONSTRAINT person_authority_of_a_kind CHECK ((what = ANY (ARRAY['performs'::text, 'inspects'::text, 'approves'::text])))
);

ALTER TABLE tinebook.person_authority ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.person_authority_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.person_certificate (
    number bigint NOT NULL,
    badge text NOT NULL,
    certificate_number text,
    certificate_kind text,
    from_on date NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT person_certificate_is_whole CHECK (((certificate_number IS NULL) = (certificate_kind IS NULL)))
);

ALTER TABLE tinebook.person_certificate ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.person_certificate_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.person_identity (
    number bigint NOT NULL,
    badge text NOT NULL,
    issuer text NOT NULL,
    subject text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.person_identity ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.person_identity_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.person_secret (
    badge text NOT NULL,
    hash text NOT NULL,
    initial boolean NOT NULL,
    set_at timestamp with time zone NOT NULL,
    CONSTRAINT person_secret_is_argon2id CHECK ((hash ~~ '$argon2id$%'::text))
);

CREATE TABLE tinebook.place (
    asset text NOT NULL,
    zone text NOT NULL,
    "position" text NOT NULL,
    number bigint NOT NULL,
    part_number text,
    present boolean NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.place ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.place_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.pseudonym (
    number bigint NOT NULL,
    pseudonym text NOT NULL,
    left_on date NOT NULL,
    reason text NOT NULL,
    despite_retention text,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.pseudonym ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.pseudonym_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.receipt (
    id uuid NOT NULL,
    connector uuid,
    digest bytea NOT NULL
);

CREATE TABLE tinebook.record (
    number bigint NOT NULL,
    id uuid NOT NULL,
    work_order text NOT NULL COLLATE pg_catalog."C",
    corrects bigint,
    approval uuid NOT NULL,
    canonical bytea NOT NULL,
    sha256 bytea NOT NULL,
    made_by text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    CONSTRAINT record_corrects_an_earlier_one CHECK ((corrects < number)),
    CONSTRAINT record_numbers_begin_at_one CHECK ((number >= 1)),
    CONSTRAINT record_of_what_it_states CHECK ((sha256 = sha256(canonical)))
);

CREATE TABLE tinebook.secret_attempt (
    badge text NOT NULL,
    failures integer NOT NULL,
    blocked_until timestamp with time zone NOT NULL
);

CREATE TABLE tinebook.secret_issue (
    number bigint NOT NULL,
    badge text NOT NULL,
    reason text,
    issued_by text NOT NULL,
    issued_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.secret_issue ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.secret_issue_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.session (
    digest bytea NOT NULL,
    token uuid,
    name text NOT NULL,
    scopes text[] NOT NULL,
    began_at timestamp with time zone NOT NULL,
    expires_at timestamp with time zone NOT NULL
);

CREATE TABLE tinebook.signal_answer (
    about text NOT NULL,
    until timestamp with time zone NOT NULL,
    took_s double precision NOT NULL,
    body bytea NOT NULL
);

CREATE TABLE tinebook.signature (
    number bigint NOT NULL,
    id uuid NOT NULL,
    subject text NOT NULL,
    reference text NOT NULL,
    meaning text NOT NULL,
    outcome text NOT NULL,
    remark text,
    badge text NOT NULL,
    name text NOT NULL,
    certificate_number text,
    certificate_kind text,
    method text NOT NULL,
    exception_reason text,
    canonical bytea NOT NULL,
    sha256 bytea NOT NULL,
    seal bytea NOT NULL,
    signed_at timestamp with time zone NOT NULL,
    CONSTRAINT entries_are_named_by_id CHECK (((subject <> 'entries'::text) OR (reference ~ '^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}(,[0-9a-f-]{36})*$'::text))),
    CONSTRAINT exception_is_of_an_inspection CHECK (((exception_reason IS NULL) OR ((meaning = 'inspected'::text) AND (exception_reason <> ''::text)))),
    CONSTRAINT inspection_is_of_work CHECK (((meaning <> 'inspected'::text) OR (subject = ANY (ARRAY['work_order'::text, 'entries'::text])))),
    CONSTRAINT refusal_is_of_an_inspection CHECK (((outcome = 'accepted'::text) OR ((meaning = 'inspected'::text) AND (COALESCE(remark, ''::text) <> ''::text)))),
    CONSTRAINT signature_by_a_method CHECK ((method = ANY (ARRAY['secret'::text, 'openid'::text]))),
    CONSTRAINT signature_of_a_meaning CHECK ((meaning = ANY (ARRAY['performed'::text, 'inspected'::text, 'approved'::text]))),
    CONSTRAINT signature_of_a_subject CHECK ((subject = ANY (ARRAY['work_order'::text, 'record'::text, 'entries'::text, 'transfer'::text]))),
    CONSTRAINT signature_of_an_outcome CHECK ((outcome = ANY (ARRAY['accepted'::text, 'refused'::text]))),
    CONSTRAINT signature_of_what_was_shown CHECK ((sha256 = sha256(canonical))),
    CONSTRAINT signature_seal_is_sha256 CHECK ((octet_length(seal) = 32))
);

ALTER TABLE tinebook.signature ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.signature_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.signing_attempt (
    digest bytea NOT NULL,
    request bytea NOT NULL,
    began_at timestamp with time zone NOT NULL,
    expires_at timestamp with time zone NOT NULL
);

CREATE TABLE tinebook.signing_rule (
    number bigint NOT NULL,
    name text NOT NULL,
    allowed boolean NOT NULL,
    reason text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT signing_rule_known CHECK ((name = 'same_person_inspection'::text))
);

ALTER TABLE tinebook.signing_rule ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.signing_rule_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.token (
    token uuid NOT NULL,
    name text NOT NULL,
    scopes text[] NOT NULL,
    digest bytea NOT NULL,
    created_at timestamp with time zone NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    revoked_at timestamp with time zone
);

CREATE TABLE tinebook.tool (
    mark text NOT NULL,
    part_number text NOT NULL,
    due_on date
);

CREATE TABLE tinebook.transfer (
    number bigint NOT NULL,
    id uuid NOT NULL,
    direction text NOT NULL,
    connector uuid NOT NULL,
    definitions integer NOT NULL,
    entries integer NOT NULL,
    hash bytea NOT NULL,
    party text NOT NULL,
    installation uuid,
    public_key bytea NOT NULL,
    reason text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    sha256 bytea NOT NULL,
    bundle bytea NOT NULL,
    CONSTRAINT transfer_hash_is_sha256 CHECK ((octet_length(hash) = 32)),
    CONSTRAINT transfer_in_a_direction CHECK ((direction = ANY (ARRAY['out'::text, 'in'::text]))),
    CONSTRAINT transfer_of_this_bundle CHECK ((sha256 = sha256(bundle)))
);

CREATE TABLE tinebook.transfer_key (
    number bigint NOT NULL,
    private_key bytea NOT NULL,
    public_key bytea NOT NULL,
    made_by text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    CONSTRAINT transfer_key_is_ed25519 CHECK (((octet_length(private_key) = 32) AND (octet_length(public_key) = 32)))
);

ALTER TABLE tinebook.transfer_key ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.transfer_key_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

ALTER TABLE tinebook.transfer ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.transfer_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.trusted_sender (
    number bigint NOT NULL,
    public_key bytea NOT NULL,
    name text NOT NULL,
    trusted boolean NOT NULL,
    reason text NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT trusted_sender_is_ed25519 CHECK ((octet_length(public_key) = 32)),
    CONSTRAINT trusted_sender_named CHECK (((name <> ''::text) AND (reason <> ''::text)))
);

ALTER TABLE tinebook.trusted_sender ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.trusted_sender_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.veiled (
    digest bytea NOT NULL,
    pseudonym text NOT NULL,
    CONSTRAINT veiled_digest_is_sha256 CHECK ((octet_length(digest) = 32))
);

CREATE TABLE tinebook.visit (
    asset text NOT NULL,
    name text NOT NULL,
    number bigint NOT NULL,
    starts_on date,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL
);

ALTER TABLE tinebook.visit ALTER COLUMN number ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME tinebook.visit_number_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE tinebook.wear_sum (
    dimension text NOT NULL,
    parent text NOT NULL COLLATE pg_catalog."C",
    name text NOT NULL COLLATE pg_catalog."C",
    shard smallint NOT NULL,
    connectors bigint NOT NULL,
    within bigint NOT NULL,
    nearing bigint NOT NULL,
    spent bigint NOT NULL,
    over bigint NOT NULL,
    unknown bigint NOT NULL,
    discrepancies bigint NOT NULL
)
WITH (fillfactor='50');

CREATE TABLE tinebook.webhook (
    webhook uuid NOT NULL,
    url text NOT NULL,
    types text[] NOT NULL,
    connector uuid,
    state text NOT NULL,
    reason text,
    "position" bigint NOT NULL,
    revision integer DEFAULT 0 NOT NULL,
    attempts integer DEFAULT 0 NOT NULL,
    failing_since timestamp with time zone,
    due_at timestamp with time zone NOT NULL,
    created_at timestamp with time zone NOT NULL,
    created_by text NOT NULL,
    CONSTRAINT webhook_in_a_state CHECK ((state = ANY (ARRAY['active'::text, 'paused'::text, 'disabled'::text, 'ended'::text])))
);

CREATE TABLE tinebook.webhook_secret (
    webhook uuid NOT NULL,
    number integer NOT NULL,
    secret text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    ends_at timestamp with time zone
);

CREATE TABLE tinebook.work_order (
    number text NOT NULL COLLATE pg_catalog."C",
    version integer NOT NULL,
    title text NOT NULL,
    description text,
    asset text,
    document text,
    revision text,
    task text,
    inspection_required boolean NOT NULL,
    steps jsonb NOT NULL,
    recorded_by text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    CONSTRAINT work_order_versions_begin_at_one CHECK ((version >= 1))
);

CREATE TABLE tinebook.worn_cavity (
    connector uuid NOT NULL,
    cavity text NOT NULL COLLATE pg_catalog."C",
    rank smallint NOT NULL,
    urgency integer NOT NULL,
    retainer_life integer NOT NULL,
    occupied boolean,
    cycles_begun integer NOT NULL,
    cycles_completed integer NOT NULL,
    rating integer,
    rating_verified boolean NOT NULL,
    remaining integer,
    asset text,
    zone text,
    "position" text,
    family text,
    part_number text,
    bench text
);

ALTER TABLE ONLY tinebook.answer
    ADD CONSTRAINT answer_key PRIMARY KEY (client, key);

ALTER TABLE ONLY tinebook.asset
    ADD CONSTRAINT asset_key PRIMARY KEY (asset, number);

ALTER TABLE ONLY tinebook.asset_usage
    ADD CONSTRAINT asset_usage_key PRIMARY KEY (asset, day, number);

ALTER TABLE ONLY tinebook.authority_withdrawal
    ADD CONSTRAINT authority_withdrawal_once PRIMARY KEY (authority);

ALTER TABLE ONLY tinebook.bench
    ADD CONSTRAINT bench_key PRIMARY KEY (name);

ALTER TABLE ONLY tinebook.cavity_set
    ADD CONSTRAINT cavity_set_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.checkpoint
    ADD CONSTRAINT checkpoint_key PRIMARY KEY (size);

ALTER TABLE ONLY tinebook.connector
    ADD CONSTRAINT connector_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.connector
    ADD CONSTRAINT connector_known_once UNIQUE NULLS NOT DISTINCT (serial, cage, part_number);

ALTER TABLE ONLY tinebook.coordinates
    ADD CONSTRAINT coordinates_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.cycles_sum
    ADD CONSTRAINT cycles_sum_key PRIMARY KEY (family, rating, rating_verified, cycles_begun, shard);

ALTER TABLE ONLY tinebook.definition
    ADD CONSTRAINT definition_key PRIMARY KEY (connector, number);

ALTER TABLE ONLY tinebook.delivery
    ADD CONSTRAINT delivery_key PRIMARY KEY (webhook, delivery);

ALTER TABLE ONLY tinebook.entry
    ADD CONSTRAINT entry_key PRIMARY KEY (connector, number);

ALTER TABLE ONLY tinebook.feed_arrival
    ADD CONSTRAINT feed_arrival_key PRIMARY KEY (arrival);

ALTER TABLE ONLY tinebook.feed
    ADD CONSTRAINT feed_key PRIMARY KEY ("position");

ALTER TABLE ONLY tinebook.head
    ADD CONSTRAINT head_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.house_value
    ADD CONSTRAINT house_value_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.installation
    ADD CONSTRAINT installation_key PRIMARY KEY (only_one);

ALTER TABLE ONLY tinebook.limit_line
    ADD CONSTRAINT limit_line_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.mark
    ADD CONSTRAINT mark_key PRIMARY KEY (key, connector);

ALTER TABLE ONLY tinebook.migration
    ADD CONSTRAINT migration_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.open_discrepancy
    ADD CONSTRAINT open_discrepancy_key PRIMARY KEY (connector, number, code, cavity);

ALTER TABLE ONLY tinebook.outlook_group
    ADD CONSTRAINT outlook_group_key PRIMARY KEY (run, number);

ALTER TABLE ONLY tinebook.outlook_line
    ADD CONSTRAINT outlook_line_key PRIMARY KEY (connector, run);

ALTER TABLE ONLY tinebook.outlook_part
    ADD CONSTRAINT outlook_part_key PRIMARY KEY (run, number);

ALTER TABLE ONLY tinebook.outlook_run
    ADD CONSTRAINT outlook_run_key PRIMARY KEY (run);

ALTER TABLE ONLY tinebook.parked
    ADD CONSTRAINT parked_key PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.parked_mark
    ADD CONSTRAINT parked_mark_key PRIMARY KEY (key, id);

ALTER TABLE ONLY tinebook.person_authority
    ADD CONSTRAINT person_authority_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.person_certificate
    ADD CONSTRAINT person_certificate_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.person_identity
    ADD CONSTRAINT person_identity_is_of_one_person UNIQUE (issuer, subject);

ALTER TABLE ONLY tinebook.person_identity
    ADD CONSTRAINT person_identity_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.person
    ADD CONSTRAINT person_key PRIMARY KEY (badge);

ALTER TABLE ONLY tinebook.person_secret
    ADD CONSTRAINT person_secret_one_a_badge PRIMARY KEY (badge);

ALTER TABLE ONLY tinebook.place
    ADD CONSTRAINT place_key PRIMARY KEY (asset, zone, "position", number);

ALTER TABLE ONLY tinebook.pseudonym
    ADD CONSTRAINT pseudonym_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.pseudonym
    ADD CONSTRAINT pseudonym_once UNIQUE (pseudonym);

ALTER TABLE ONLY tinebook.receipt
    ADD CONSTRAINT receipt_once PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.record
    ADD CONSTRAINT record_corrected_once UNIQUE (corrects);

ALTER TABLE ONLY tinebook.record
    ADD CONSTRAINT record_id_once UNIQUE (id);

ALTER TABLE ONLY tinebook.record
    ADD CONSTRAINT record_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.record
    ADD CONSTRAINT record_of_one_approval UNIQUE (approval);

ALTER TABLE ONLY tinebook.secret_attempt
    ADD CONSTRAINT secret_attempt_one_a_badge PRIMARY KEY (badge);

ALTER TABLE ONLY tinebook.secret_issue
    ADD CONSTRAINT secret_issue_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.session
    ADD CONSTRAINT session_key PRIMARY KEY (digest);

ALTER TABLE ONLY tinebook.signal_answer
    ADD CONSTRAINT signal_answer_key PRIMARY KEY (about);

ALTER TABLE ONLY tinebook.signature
    ADD CONSTRAINT signature_key PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.signature
    ADD CONSTRAINT signature_number_once UNIQUE (number);

ALTER TABLE ONLY tinebook.signing_attempt
    ADD CONSTRAINT signing_attempt_key PRIMARY KEY (digest);

ALTER TABLE ONLY tinebook.signing_rule
    ADD CONSTRAINT signing_rule_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_digest_once UNIQUE (digest);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_key PRIMARY KEY (token);

ALTER TABLE ONLY tinebook.tool
    ADD CONSTRAINT tool_key PRIMARY KEY (mark);

ALTER TABLE ONLY tinebook.transfer_key
    ADD CONSTRAINT transfer_key_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.transfer
    ADD CONSTRAINT transfer_key_of_line PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.transfer_key
    ADD CONSTRAINT transfer_key_once UNIQUE (public_key);

ALTER TABLE ONLY tinebook.transfer
    ADD CONSTRAINT transfer_once UNIQUE (id, direction);

ALTER TABLE ONLY tinebook.trusted_sender
    ADD CONSTRAINT trusted_sender_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.veiled
    ADD CONSTRAINT veiled_key PRIMARY KEY (digest);

ALTER TABLE ONLY tinebook.visit
    ADD CONSTRAINT visit_key PRIMARY KEY (asset, name, number);

ALTER TABLE ONLY tinebook.wear_sum
    ADD CONSTRAINT wear_sum_key PRIMARY KEY (dimension, parent, name, shard);

ALTER TABLE ONLY tinebook.webhook
    ADD CONSTRAINT webhook_key PRIMARY KEY (webhook);

ALTER TABLE ONLY tinebook.webhook_secret
    ADD CONSTRAINT webhook_secret_key PRIMARY KEY (webhook, number);

ALTER TABLE ONLY tinebook.work_order
    ADD CONSTRAINT work_order_key PRIMARY KEY (number, version);

ALTER TABLE ONLY tinebook.worn_cavity
    ADD CONSTRAINT worn_cavity_key PRIMARY KEY (connector, cavity);

CREATE INDEX answer_by_time ON tinebook.answer USING btree (answered_at);

CREATE INDEX bench_by_shop ON tinebook.bench USING btree (shop, name);

CREATE INDEX cavity_set_newest ON tinebook.cavity_set USING btree (name, number DESC);

CREATE INDEX coordinates_newest ON tinebook.coordinates USING btree (standard, arrangement, number DESC);

CREATE INDEX delivery_by_time ON tinebook.delivery USING btree (at);

CREATE INDEX entry_by_time ON tinebook.entry USING brin (performed_at timestamptz_minmax_multi_ops) WITH (autosummarize='on');

CREATE INDEX entry_by_work_order ON tinebook.entry USING btree (split_part(split_part(encode(body, 'escape'::text), '"work_order":"'::text, 2), '"'::text, 1), connector) WHERE (POSITION(('\x22776f726b5f6f72646572223a22'::bytea) IN (body)) > 0);

CREATE INDEX entry_turning ON tinebook.entry USING btree (kind, connector, performed_at) WHERE (kind = ANY (ARRAY['correction'::text, 'placement'::text, 'renewal'::text, 'retirement'::text]));

CREATE INDEX head_by_asset ON tinebook.head USING btree (asset, zone, "position") WHERE (asset IS NOT NULL);

CREATE INDEX head_by_position ON tinebook.head USING btree ("position") WHERE ("position" IS NOT NULL);

CREATE INDEX head_by_zone ON tinebook.head USING btree (zone, "position") WHERE (zone IS NOT NULL);

CREATE INDEX limit_line_by_asset ON tinebook.limit_line USING btree (asset, rank, urgency, connector);

CREATE INDEX limit_line_by_bench ON tinebook.limit_line USING btree (bench, rank, urgency, connector);

CREATE INDEX limit_line_by_family ON tinebook.limit_line USING btree (family, rank, urgency, connector);

CREATE INDEX limit_line_by_part_number ON tinebook.limit_line USING btree (part_number, rank, urgency, connector);

CREATE INDEX limit_line_by_position ON tinebook.limit_line USING btree ("position", rank, urgency, connector);

CREATE INDEX limit_line_by_zone ON tinebook.limit_line USING btree (zone, rank, urgency, connector);

CREATE INDEX limit_line_unknown ON tinebook.limit_line USING btree (connector) WHERE (unknown_cavities > 0);

CREATE INDEX limit_line_worst_first ON tinebook.limit_line USING btree (rank, urgency, connector);

CREATE INDEX mark_by_connector ON tinebook.mark USING btree (connector);

CREATE INDEX open_discrepancy_by_asset ON tinebook.open_discrepancy USING btree (asset, rank, recorded_at);

CREATE INDEX open_discrepancy_by_bench ON tinebook.open_discrepancy USING btree (bench, rank, recorded_at);

CREATE INDEX open_discrepancy_by_part_number ON tinebook.open_discrepancy USING btree (part_number, rank, recorded_at);

CREATE INDEX open_discrepancy_worst_first ON tinebook.open_discrepancy USING btree (rank, recorded_at, connector, number, code, cavity);

CREATE INDEX outlook_line_not_known ON tinebook.outlook_line USING btree (run, connector) WHERE (band <> 0);

CREATE INDEX outlook_line_within_1 ON tinebook.outlook_line USING btree (run, (probability[1]) DESC, connector) WHERE ((band <> 2) AND (probability[1] >= (0.01)::double precision));

CREATE INDEX outlook_line_within_12 ON tinebook.outlook_line USING btree (run, (probability[12]) DESC, connector) WHERE ((band <> 2) AND (probability[12] >= (0.01)::double precision));

CREATE INDEX outlook_line_within_18 ON tinebook.outlook_line USING btree (run, (probability[14]) DESC, connector) WHERE ((band <> 2) AND (probability[14] >= (0.01)::double precision));

CREATE INDEX outlook_line_within_24 ON tinebook.outlook_line USING btree (run, (probability[16]) DESC, connector) WHERE ((band <> 2) AND (probability[16] >= (0.01)::double precision));

CREATE INDEX outlook_line_within_3 ON tinebook.outlook_line USING btree (run, (probability[3]) DESC, connector) WHERE ((band <> 2) AND (probability[3] >= (0.01)::double precision));

CREATE INDEX outlook_line_within_6 ON tinebook.outlook_line USING btree (run, (probability[6]) DESC, connector) WHERE ((band <> 2) AND (probability[6] >= (0.01)::double precision));

CREATE INDEX parked_by_work_order ON tinebook.parked USING btree (split_part(split_part(encode(body, 'escape'::text), '"work_order":"'::text, 2), '"'::text, 1)) WHERE ((joined IS NULL) AND (POSITION(('\x22776f726b5f6f72646572223a22'::bytea) IN (body)) > 0));

CREATE INDEX parked_waiting ON tinebook.parked USING btree (recorded_at, id) WHERE (joined IS NULL);

CREATE INDEX person_authority_by_badge ON tinebook.person_authority USING btree (badge, what);

CREATE INDEX person_certificate_newest ON tinebook.person_certificate USING btree (badge, from_on DESC, number DESC);

CREATE INDEX person_identity_newest ON tinebook.person_identity USING btree (badge, number DESC);

CREATE INDEX record_by_work_order ON tinebook.record USING btree (work_order, number);

CREATE INDEX session_by_end ON tinebook.session USING btree (expires_at);

CREATE INDEX signature_by_badge ON tinebook.signature USING btree (badge, number);

CREATE INDEX signature_by_subject ON tinebook.signature USING btree (subject, reference, number);

CREATE INDEX signing_attempt_by_end ON tinebook.signing_attempt USING btree (expires_at);

CREATE INDEX signing_rule_newest ON tinebook.signing_rule USING btree (name, number DESC);

CREATE INDEX transfer_by_connector ON tinebook.transfer USING btree (connector, number DESC);

CREATE INDEX trusted_sender_newest ON tinebook.trusted_sender USING btree (public_key, number DESC);

CREATE UNIQUE INDEX webhook_url_once ON tinebook.webhook USING btree (url) WHERE (state <> 'ended'::text);

CREATE INDEX work_order_by_asset ON tinebook.work_order USING btree (asset, number) WHERE (asset IS NOT NULL);

CREATE INDEX work_order_first_ones ON tinebook.work_order USING btree (recorded_at DESC, number DESC) WHERE (version = 1);

CREATE INDEX worn_cavity_by_asset ON tinebook.worn_cavity USING btree (asset, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_bench ON tinebook.worn_cavity USING btree (bench, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_family ON tinebook.worn_cavity USING btree (family, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_part_number ON tinebook.worn_cavity USING btree (part_number, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_position ON tinebook.worn_cavity USING btree ("position", rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_zone ON tinebook.worn_cavity USING btree (zone, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_worst_first ON tinebook.worn_cavity USING btree (rank, urgency, connector, cavity);

CREATE TRIGGER asset_goes_into_the_feed AFTER INSERT ON tinebook.asset REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('asset.described');

CREATE TRIGGER asset_is_append_only BEFORE DELETE OR UPDATE ON tinebook.asset FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER asset_is_not_truncated BEFORE TRUNCATE ON tinebook.asset FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER asset_usage_goes_into_the_feed AFTER INSERT ON tinebook.asset_usage REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('asset.usage');

CREATE TRIGGER asset_usage_is_append_only BEFORE DELETE OR UPDATE ON tinebook.asset_usage FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER asset_usage_is_not_truncated BEFORE TRUNCATE ON tinebook.asset_usage FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER authority_withdrawal_goes_into_the_feed AFTER INSERT ON tinebook.authority_withdrawal REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_withdrawals();

CREATE TRIGGER authority_withdrawal_is_append_only BEFORE DELETE OR UPDATE ON tinebook.authority_withdrawal FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER authority_withdrawal_is_not_truncated BEFORE TRUNCATE ON tinebook.authority_withdrawal FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER authority_withdrawal_waits_for_signatures BEFORE INSERT ON tinebook.authority_withdrawal FOR EACH ROW EXECUTE FUNCTION tinebook.lock_person_of_authority();

CREATE TRIGGER cavity_set_goes_into_the_feed AFTER INSERT ON tinebook.cavity_set REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('shop.cavity_set');

CREATE TRIGGER cavity_set_is_append_only BEFORE DELETE OR UPDATE ON tinebook.cavity_set FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER cavity_set_is_not_truncated BEFORE TRUNCATE ON tinebook.cavity_set FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER checkpoint_is_append_only BEFORE DELETE OR UPDATE ON tinebook.checkpoint FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER checkpoint_is_not_truncated BEFORE TRUNCATE ON tinebook.checkpoint FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER coordinates_go_into_the_feed AFTER INSERT ON tinebook.coordinates REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('shop.coordinates');

CREATE TRIGGER coordinates_is_append_only BEFORE DELETE OR UPDATE ON tinebook.coordinates FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER coordinates_is_not_truncated BEFORE TRUNCATE ON tinebook.coordinates FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER definition_goes_into_the_feed AFTER INSERT ON tinebook.definition REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_definitions();

CREATE TRIGGER definition_is_append_only BEFORE DELETE OR UPDATE ON tinebook.definition FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER definition_is_not_truncated BEFORE TRUNCATE ON tinebook.definition FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER entry_goes_into_the_feed AFTER INSERT ON tinebook.entry REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_entries();

CREATE TRIGGER entry_is_append_only BEFORE DELETE OR UPDATE ON tinebook.entry FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER entry_is_not_truncated BEFORE TRUNCATE ON tinebook.entry FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER feed_is_append_only BEFORE DELETE OR UPDATE ON tinebook.feed FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER feed_is_not_truncated BEFORE TRUNCATE ON tinebook.feed FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER house_value_goes_into_the_feed AFTER INSERT ON tinebook.house_value REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('shop.house_value');

CREATE TRIGGER house_value_is_append_only BEFORE DELETE OR UPDATE ON tinebook.house_value FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER house_value_is_not_truncated BEFORE TRUNCATE ON tinebook.house_value FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER outlook_run_is_append_only BEFORE DELETE OR UPDATE ON tinebook.outlook_run FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER outlook_run_is_not_truncated BEFORE TRUNCATE ON tinebook.outlook_run FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER parked_goes_into_the_feed AFTER INSERT ON tinebook.parked REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_parked();

CREATE TRIGGER person_authority_goes_into_the_feed AFTER INSERT ON tinebook.person_authority REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('person.authority');

CREATE TRIGGER person_authority_has_left BEFORE INSERT ON tinebook.person_authority FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_return('what');

CREATE TRIGGER person_authority_is_append_only BEFORE DELETE OR UPDATE ON tinebook.person_authority FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER person_authority_is_not_truncated BEFORE TRUNCATE ON tinebook.person_authority FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER person_certificate_goes_into_the_feed AFTER INSERT ON tinebook.person_certificate REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('person.certificate');

CREATE TRIGGER person_certificate_has_left BEFORE INSERT ON tinebook.person_certificate FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_return('certificate_number');

CREATE TRIGGER person_certificate_is_append_only BEFORE DELETE OR UPDATE ON tinebook.person_certificate FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_all_but_pseudonym('certificate_number');

CREATE TRIGGER person_certificate_is_not_truncated BEFORE TRUNCATE ON tinebook.person_certificate FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER person_has_left BEFORE INSERT OR UPDATE ON tinebook.person FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_return('name');

CREATE TRIGGER person_identity_has_left BEFORE INSERT ON tinebook.person_identity FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_return('subject');

CREATE TRIGGER person_identity_is_append_only BEFORE DELETE OR UPDATE ON tinebook.person_identity FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_all_but_pseudonym('subject');

CREATE TRIGGER person_identity_is_not_truncated BEFORE TRUNCATE ON tinebook.person_identity FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER place_goes_into_the_feed AFTER INSERT ON tinebook.place REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('asset.position');

CREATE TRIGGER place_is_append_only BEFORE DELETE OR UPDATE ON tinebook.place FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER place_is_not_truncated BEFORE TRUNCATE ON tinebook.place FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER pseudonym_goes_into_the_feed AFTER INSERT ON tinebook.pseudonym REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_pseudonyms();

CREATE TRIGGER pseudonym_is_append_only BEFORE DELETE OR UPDATE ON tinebook.pseudonym FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER pseudonym_is_not_truncated BEFORE TRUNCATE ON tinebook.pseudonym FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER receipt_is_append_only BEFORE DELETE OR UPDATE ON tinebook.receipt FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER receipt_is_not_truncated BEFORE TRUNCATE ON tinebook.receipt FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER record_is_append_only BEFORE DELETE OR UPDATE ON tinebook.record FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER record_is_not_truncated BEFORE TRUNCATE ON tinebook.record FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER record_numbers_have_no_gaps BEFORE INSERT ON tinebook.record FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_gap();

CREATE TRIGGER secret_issue_is_append_only BEFORE DELETE OR UPDATE ON tinebook.secret_issue FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER secret_issue_is_not_truncated BEFORE TRUNCATE ON tinebook.secret_issue FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER signature_goes_into_the_feed AFTER INSERT ON tinebook.signature REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_signatures();

CREATE TRIGGER signature_is_append_only BEFORE DELETE OR UPDATE ON tinebook.signature FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE CONSTRAINT TRIGGER signature_is_judged AFTER INSERT ON tinebook.signature NOT DEFERRABLE INITIALLY IMMEDIATE FOR EACH ROW EXECUTE FUNCTION tinebook.judge_signature();

CREATE TRIGGER signature_is_not_truncated BEFORE TRUNCATE ON tinebook.signature FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER signing_rule_goes_into_the_feed AFTER INSERT ON tinebook.signing_rule REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('signing.rule');

CREATE TRIGGER signing_rule_is_append_only BEFORE DELETE OR UPDATE ON tinebook.signing_rule FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER signing_rule_is_not_truncated BEFORE TRUNCATE ON tinebook.signing_rule FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER transfer_is_append_only BEFORE DELETE OR UPDATE ON tinebook.transfer FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER transfer_is_not_truncated BEFORE TRUNCATE ON tinebook.transfer FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER transfer_key_is_append_only BEFORE DELETE OR UPDATE ON tinebook.transfer_key FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER transfer_key_is_not_truncated BEFORE TRUNCATE ON tinebook.transfer_key FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER trusted_sender_is_append_only BEFORE DELETE OR UPDATE ON tinebook.trusted_sender FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER trusted_sender_is_not_truncated BEFORE TRUNCATE ON tinebook.trusted_sender FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER veiled_is_append_only BEFORE DELETE OR UPDATE ON tinebook.veiled FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER veiled_is_not_truncated BEFORE TRUNCATE ON tinebook.veiled FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER visit_goes_into_the_feed AFTER INSERT ON tinebook.visit REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('asset.visit');

CREATE TRIGGER visit_is_append_only BEFORE DELETE OR UPDATE ON tinebook.visit FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER visit_is_not_truncated BEFORE TRUNCATE ON tinebook.visit FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER work_order_is_append_only BEFORE DELETE OR UPDATE ON tinebook.work_order FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER work_order_is_not_truncated BEFORE TRUNCATE ON tinebook.work_order FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

ALTER TABLE ONLY tinebook.authority_withdrawal
    ADD CONSTRAINT authority_withdrawal_of_authority FOREIGN KEY (authority) REFERENCES tinebook.person_authority(number);

ALTER TABLE ONLY tinebook.definition
    ADD CONSTRAINT definition_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.delivery
    ADD CONSTRAINT delivery_of_webhook FOREIGN KEY (webhook) REFERENCES tinebook.webhook(webhook);

ALTER TABLE ONLY tinebook.head
    ADD CONSTRAINT head_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.limit_line
    ADD CONSTRAINT limit_line_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.mark
    ADD CONSTRAINT mark_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.outlook_group
    ADD CONSTRAINT outlook_group_of_run FOREIGN KEY (run) REFERENCES tinebook.outlook_run(run);

ALTER TABLE ONLY tinebook.outlook_part
    ADD CONSTRAINT outlook_part_of_run FOREIGN KEY (run) REFERENCES tinebook.outlook_run(run);

ALTER TABLE ONLY tinebook.parked_mark
    ADD CONSTRAINT parked_mark_of_parked FOREIGN KEY (id) REFERENCES tinebook.parked(id);

ALTER TABLE ONLY tinebook.person_authority
    ADD CONSTRAINT person_authority_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.person_certificate
    ADD CONSTRAINT person_certificate_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.person_identity
    ADD CONSTRAINT person_identity_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.person_secret
    ADD CONSTRAINT person_secret_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.record
    ADD CONSTRAINT record_corrects_a_record FOREIGN KEY (corrects) REFERENCES tinebook.record(number);

ALTER TABLE ONLY tinebook.secret_attempt
    ADD CONSTRAINT secret_attempt_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.secret_issue
    ADD CONSTRAINT secret_issue_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.session
    ADD CONSTRAINT session_of_token FOREIGN KEY (token) REFERENCES tinebook.token(token);

ALTER TABLE ONLY tinebook.signature
    ADD CONSTRAINT signature_of_person FOREIGN KEY (badge) REFERENCES tinebook.person(badge);

ALTER TABLE ONLY tinebook.transfer
    ADD CONSTRAINT transfer_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.veiled
    ADD CONSTRAINT veiled_by_pseudonym FOREIGN KEY (pseudonym) REFERENCES tinebook.pseudonym(pseudonym);

ALTER TABLE ONLY tinebook.webhook_secret
    ADD CONSTRAINT webhook_secret_of_webhook FOREIGN KEY (webhook) REFERENCES tinebook.webhook(webhook);

GRANT USAGE ON SCHEMA tinebook TO tinebook_service;

GRANT SELECT ON TABLE tinebook.installation TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.answer TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.asset TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.asset_usage TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.authority_withdrawal TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.bench TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.cavity_set TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.checkpoint TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.connector TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.coordinates TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.cycles_sum TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.definition TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.delivery TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.entry TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.feed TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.feed_arrival TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.head TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.house_value TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.limit_line TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.mark TO tinebook_service;

GRANT SELECT ON TABLE tinebook.migration TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.open_discrepancy TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.outlook_group TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.outlook_line TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.outlook_part TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.outlook_run TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.parked TO tinebook_service;

GRANT UPDATE(reason) ON TABLE tinebook.parked TO tinebook_service;

GRANT UPDATE(joined) ON TABLE tinebook.parked TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.parked_mark TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.person TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.person_authority TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.person_certificate TO tinebook_service;

GRANT UPDATE(certificate_number) ON TABLE tinebook.person_certificate TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.person_identity TO tinebook_service;

GRANT UPDATE(subject) ON TABLE tinebook.person_identity TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.person_secret TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.place TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.pseudonym TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.receipt TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.record TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.secret_attempt TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.secret_issue TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.session TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.signal_answer TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.signature TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.signing_attempt TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.signing_rule TO tinebook_service;

GRANT SELECT ON TABLE tinebook.token TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.tool TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.transfer TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.transfer_key TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.trusted_sender TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.veiled TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.visit TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.wear_sum TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.webhook TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.webhook_secret TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.work_order TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.worn_cavity TO tinebook_service;
