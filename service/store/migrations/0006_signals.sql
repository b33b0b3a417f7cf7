-- How the signals find what they ask about: entries of a stretch of time, and the few kinds that turn the meaning of others.

-- Entries come nearly in the order of time, so a summary of each stretch of the table suffices and costs writes nothing to speak
-- of. Of several ranges, since an import of old books lies among new entries.
-- squawk-ignore require-concurrent-index-creation
create index entry_by_time on tinebook.entry using brin (performed_at timestamptz_minmax_multi_ops) with (autosummarize = on);
-- squawk-ignore require-concurrent-index-creation
create index entry_turning on tinebook.entry (kind, connector, performed_at)
    where kind in ('correction', 'placement', 'renewal', 'retirement');

-- A text that an entry states, from the bytes that were hashed; null where it states none. In RFC 8785 form a quote within a text
-- is never bare, so what stands between these quotes is the field; with a backslash anywhere the whole is parsed instead.
create function tinebook.stated(body bytea, field text) returns text language sql immutable parallel safe
return case
    when position(convert_to('"' || field || '":"', 'UTF8') in body) = 0 then null
    when position('\x5c'::bytea in body) = 0
        then split_part(split_part(convert_from(body, 'UTF8'), '"' || field || '":"', 2), '"', 1)
    else convert_from(body, 'UTF8')::jsonb #>> array['recorded', 'entry', field]
end;
