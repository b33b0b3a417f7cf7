-- What only the pages ask: sessions, and histories read backwards.

-- name: begin_session
-- Begin a session with a token that holds; nothing where it does not.
insert into tinebook.session (digest, token, name, scopes, began_at, expires_at)
select $1::bytea, t.token, t.name, t.scopes, $3::timestamptz, least(t.expires_at, $4::timestamptz)
from tinebook.token as t
where t.digest = $2::bytea and t.revoked_at is null and t.expires_at > $3::timestamptz
returning name;

-- name: begin_vouched_session
-- Begin a session for somebody whom an identity provider vouches for.
insert into tinebook.session (digest, token, name, scopes, began_at, expires_at)
values ($1::bytea, null, $2::text, $3::text[], $4::timestamptz, $5::timestamptz);

-- name: session_by_digest
-- Whose session is this, if it still holds, and its token too?
select s.name, coalesce(t.scopes, s.scopes) as scopes, s.token is null as vouched, s.expires_at
from tinebook.session as s
left join tinebook.token as t on t.token = s.token
where s.digest = $1::bytea and s.expires_at > $2::timestamptz
  and (s.token is null or (t.revoked_at is null and t.expires_at > $2::timestamptz));

-- name: end_session
-- Sign out.
delete from tinebook.session as s where s.digest = $1::bytea;

-- name: forget_sessions
-- Sessions that are over.
delete from tinebook.session as s where s.expires_at <= $1::timestamptz;

-- name: history_back
-- A connector's entries from the newest recorded back, all or those that concern a cavity.
select e.number, e.body, e.hash
from tinebook.entry as e
where e.connector = $1::uuid and ($2::integer is null or e.number < $2::integer)
  and ($3::text is null or e.cavity = $3::text or e.cavity is null)
order by e.number desc
limit $4::integer;
