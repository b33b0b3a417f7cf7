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

CREATE FUNCTION tinebook.refuse_change() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    raise exception '% of tinebook.% is refused: the ledger is append-only', tg_op, tg_table_name
        using errcode = '23001', hint = 'Record a correction instead.';
end;
$$;

CREATE FUNCTION tinebook.stated(body bytea, field text) RETURNS text
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN CASE WHEN (POSITION((convert_to((('"'::text || field) || '":"'::text), 'UTF8'::name)) IN (body)) = 0) THEN NULL::text WHEN (POSITION(('\x5c'::bytea) IN (body)) = 0) THEN split_part(split_part(convert_from(body, 'UTF8'::name), (('"'::text || field) || '":"'::text), 2), '"'::text, 1) ELSE ((convert_from(body, 'UTF8'::name))::jsonb #>> ARRAY['recorded'::text, 'entry'::text, field]) END;

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
    bench text
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

CREATE TABLE tinebook.installation (
    only_one boolean DEFAULT true NOT NULL,
    installation uuid DEFAULT gen_random_uuid() NOT NULL,
    CONSTRAINT installation_once CHECK (only_one)
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

CREATE TABLE tinebook.receipt (
    id uuid NOT NULL,
    connector uuid,
    digest bytea NOT NULL
);

CREATE TABLE tinebook.session (
    digest bytea NOT NULL,
    token uuid,
    name text NOT NULL,
    scopes text[] NOT NULL,
    began_at timestamp with time zone NOT NULL,
    expires_at timestamp with time zone NOT NULL
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

ALTER TABLE ONLY tinebook.asset_usage
    ADD CONSTRAINT asset_usage_key PRIMARY KEY (asset, day, number);

ALTER TABLE ONLY tinebook.bench
    ADD CONSTRAINT bench_key PRIMARY KEY (name);

ALTER TABLE ONLY tinebook.cavity_set
    ADD CONSTRAINT cavity_set_key PRIMARY KEY (number);

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

ALTER TABLE ONLY tinebook.person
    ADD CONSTRAINT person_key PRIMARY KEY (badge);

ALTER TABLE ONLY tinebook.receipt
    ADD CONSTRAINT receipt_once PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.session
    ADD CONSTRAINT session_key PRIMARY KEY (digest);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_digest_once UNIQUE (digest);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_key PRIMARY KEY (token);

ALTER TABLE ONLY tinebook.tool
    ADD CONSTRAINT tool_key PRIMARY KEY (mark);

ALTER TABLE ONLY tinebook.visit
    ADD CONSTRAINT visit_key PRIMARY KEY (asset, name, number);

ALTER TABLE ONLY tinebook.wear_sum
    ADD CONSTRAINT wear_sum_key PRIMARY KEY (dimension, parent, name, shard);

ALTER TABLE ONLY tinebook.webhook
    ADD CONSTRAINT webhook_key PRIMARY KEY (webhook);

ALTER TABLE ONLY tinebook.webhook_secret
    ADD CONSTRAINT webhook_secret_key PRIMARY KEY (webhook, number);

ALTER TABLE ONLY tinebook.worn_cavity
    ADD CONSTRAINT worn_cavity_key PRIMARY KEY (connector, cavity);

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

CREATE INDEX parked_waiting ON tinebook.parked USING btree (recorded_at, id) WHERE (joined IS NULL);

CREATE INDEX session_by_end ON tinebook.session USING btree (expires_at);

CREATE UNIQUE INDEX webhook_url_once ON tinebook.webhook USING btree (url) WHERE (state <> 'ended'::text);

CREATE INDEX worn_cavity_by_asset ON tinebook.worn_cavity USING btree (asset, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_bench ON tinebook.worn_cavity USING btree (bench, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_family ON tinebook.worn_cavity USING btree (family, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_part_number ON tinebook.worn_cavity USING btree (part_number, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_position ON tinebook.worn_cavity USING btree ("position", rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_by_zone ON tinebook.worn_cavity USING btree (zone, rank, urgency, connector, cavity);

CREATE INDEX worn_cavity_worst_first ON tinebook.worn_cavity USING btree (rank, urgency, connector, cavity);

CREATE TRIGGER asset_usage_is_append_only BEFORE DELETE OR UPDATE ON tinebook.asset_usage FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER asset_usage_is_not_truncated BEFORE TRUNCATE ON tinebook.asset_usage FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER cavity_set_goes_into_the_feed AFTER INSERT ON tinebook.cavity_set REFERENCING NEW TABLE AS news FOR EACH STATEMENT EXECUTE FUNCTION tinebook.feed_statements('shop.cavity_set');

CREATE TRIGGER cavity_set_is_append_only BEFORE DELETE OR UPDATE ON tinebook.cavity_set FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER cavity_set_is_not_truncated BEFORE TRUNCATE ON tinebook.cavity_set FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

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

CREATE TRIGGER receipt_is_append_only BEFORE DELETE OR UPDATE ON tinebook.receipt FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER receipt_is_not_truncated BEFORE TRUNCATE ON tinebook.receipt FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER visit_is_append_only BEFORE DELETE OR UPDATE ON tinebook.visit FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER visit_is_not_truncated BEFORE TRUNCATE ON tinebook.visit FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

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

ALTER TABLE ONLY tinebook.session
    ADD CONSTRAINT session_of_token FOREIGN KEY (token) REFERENCES tinebook.token(token);

ALTER TABLE ONLY tinebook.webhook_secret
    ADD CONSTRAINT webhook_secret_of_webhook FOREIGN KEY (webhook) REFERENCES tinebook.webhook(webhook);

GRANT USAGE ON SCHEMA tinebook TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.asset_usage TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.bench TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.cavity_set TO tinebook_service;

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

GRANT SELECT ON TABLE tinebook.installation TO tinebook_service;

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

GRANT SELECT,INSERT ON TABLE tinebook.receipt TO tinebook_service;

GRANT SELECT,INSERT,DELETE ON TABLE tinebook.session TO tinebook_service;

GRANT SELECT ON TABLE tinebook.token TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.tool TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.visit TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.wear_sum TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.webhook TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.webhook_secret TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.worn_cavity TO tinebook_service;
