-- What the migrations make, for reading. Written by `python -m tests.store.schema`; a test keeps it current.

CREATE SCHEMA tinebook;

CREATE FUNCTION tinebook.refuse_change() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
begin
    raise exception '% of tinebook.% is refused: the ledger is append-only', tg_op, tg_table_name
        using errcode = '23001', hint = 'Record a correction instead.';
end;
$$;

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

CREATE TABLE tinebook.definition (
    connector uuid NOT NULL,
    number integer NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    body bytea NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT definition_hash_is_sha256 CHECK ((octet_length(hash) = 32))
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

CREATE TABLE tinebook.head (
    connector uuid NOT NULL,
    entries integer NOT NULL,
    hash bytea NOT NULL,
    definition integer NOT NULL,
    state bytea NOT NULL,
    asset text,
    zone text,
    "position" text
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
    "position" text
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

ALTER TABLE ONLY tinebook.cavity_set
    ADD CONSTRAINT cavity_set_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.connector
    ADD CONSTRAINT connector_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.connector
    ADD CONSTRAINT connector_known_once UNIQUE NULLS NOT DISTINCT (serial, cage, part_number);

ALTER TABLE ONLY tinebook.coordinates
    ADD CONSTRAINT coordinates_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.definition
    ADD CONSTRAINT definition_key PRIMARY KEY (connector, number);

ALTER TABLE ONLY tinebook.entry
    ADD CONSTRAINT entry_key PRIMARY KEY (connector, number);

ALTER TABLE ONLY tinebook.head
    ADD CONSTRAINT head_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.house_value
    ADD CONSTRAINT house_value_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.limit_line
    ADD CONSTRAINT limit_line_key PRIMARY KEY (connector);

ALTER TABLE ONLY tinebook.mark
    ADD CONSTRAINT mark_key PRIMARY KEY (key, connector);

ALTER TABLE ONLY tinebook.migration
    ADD CONSTRAINT migration_key PRIMARY KEY (number);

ALTER TABLE ONLY tinebook.parked
    ADD CONSTRAINT parked_key PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.parked_mark
    ADD CONSTRAINT parked_mark_key PRIMARY KEY (key, id);

ALTER TABLE ONLY tinebook.person
    ADD CONSTRAINT person_key PRIMARY KEY (badge);

ALTER TABLE ONLY tinebook.receipt
    ADD CONSTRAINT receipt_once PRIMARY KEY (id);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_digest_once UNIQUE (digest);

ALTER TABLE ONLY tinebook.token
    ADD CONSTRAINT token_key PRIMARY KEY (token);

ALTER TABLE ONLY tinebook.tool
    ADD CONSTRAINT tool_key PRIMARY KEY (mark);

CREATE INDEX cavity_set_newest ON tinebook.cavity_set USING btree (name, number DESC);

CREATE INDEX coordinates_newest ON tinebook.coordinates USING btree (standard, arrangement, number DESC);

CREATE INDEX entry_by_work_order ON tinebook.entry USING btree (split_part(split_part(encode(body, 'escape'::text), '"work_order":"'::text, 2), '"'::text, 1), connector) WHERE (POSITION(('\x22776f726b5f6f72646572223a22'::bytea) IN (body)) > 0);

CREATE INDEX head_by_asset ON tinebook.head USING btree (asset, zone, "position") WHERE (asset IS NOT NULL);

CREATE INDEX head_by_position ON tinebook.head USING btree ("position") WHERE ("position" IS NOT NULL);

CREATE INDEX head_by_zone ON tinebook.head USING btree (zone, "position") WHERE (zone IS NOT NULL);

CREATE INDEX limit_line_by_asset ON tinebook.limit_line USING btree (asset, rank, urgency, connector);

CREATE INDEX limit_line_worst_first ON tinebook.limit_line USING btree (rank, urgency, connector);

CREATE INDEX mark_by_connector ON tinebook.mark USING btree (connector);

CREATE INDEX parked_waiting ON tinebook.parked USING btree (recorded_at, id) WHERE (joined IS NULL);

CREATE TRIGGER cavity_set_is_append_only BEFORE DELETE OR UPDATE ON tinebook.cavity_set FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER cavity_set_is_not_truncated BEFORE TRUNCATE ON tinebook.cavity_set FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER coordinates_is_append_only BEFORE DELETE OR UPDATE ON tinebook.coordinates FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER coordinates_is_not_truncated BEFORE TRUNCATE ON tinebook.coordinates FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER definition_is_append_only BEFORE DELETE OR UPDATE ON tinebook.definition FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER definition_is_not_truncated BEFORE TRUNCATE ON tinebook.definition FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER entry_is_append_only BEFORE DELETE OR UPDATE ON tinebook.entry FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER entry_is_not_truncated BEFORE TRUNCATE ON tinebook.entry FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER house_value_is_append_only BEFORE DELETE OR UPDATE ON tinebook.house_value FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER house_value_is_not_truncated BEFORE TRUNCATE ON tinebook.house_value FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER receipt_is_append_only BEFORE DELETE OR UPDATE ON tinebook.receipt FOR EACH ROW EXECUTE FUNCTION tinebook.refuse_change();

CREATE TRIGGER receipt_is_not_truncated BEFORE TRUNCATE ON tinebook.receipt FOR EACH STATEMENT EXECUTE FUNCTION tinebook.refuse_change();

ALTER TABLE ONLY tinebook.definition
    ADD CONSTRAINT definition_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.head
    ADD CONSTRAINT head_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.limit_line
    ADD CONSTRAINT limit_line_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.mark
    ADD CONSTRAINT mark_of_connector FOREIGN KEY (connector) REFERENCES tinebook.connector(connector);

ALTER TABLE ONLY tinebook.parked_mark
    ADD CONSTRAINT parked_mark_of_parked FOREIGN KEY (id) REFERENCES tinebook.parked(id);

GRANT USAGE ON SCHEMA tinebook TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.cavity_set TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.connector TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.coordinates TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.definition TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.entry TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.head TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.house_value TO tinebook_service;

GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE tinebook.limit_line TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.mark TO tinebook_service;

GRANT SELECT ON TABLE tinebook.migration TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.parked TO tinebook_service;

GRANT UPDATE(reason) ON TABLE tinebook.parked TO tinebook_service;

GRANT UPDATE(joined) ON TABLE tinebook.parked TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.parked_mark TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.person TO tinebook_service;

GRANT SELECT,INSERT ON TABLE tinebook.receipt TO tinebook_service;

GRANT SELECT ON TABLE tinebook.token TO tinebook_service;

GRANT SELECT,INSERT,UPDATE ON TABLE tinebook.tool TO tinebook_service;
