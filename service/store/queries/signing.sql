-- People with their authority, their secrets, and what they signed.

-- name: people_page
-- A page of the shop's people, by badge, without those who left and stand under a pseudonym.
select p.badge, p.name,
       case when s.initial is null then 'none' when s.initial then 'initial' else 'own' end as secret
from tinebook.person as p
left join tinebook.person_secret as s on s.badge = p.badge
where ($1::text is null or p.badge > $1::text)
  and ($3::text is null or p.badge = $3::text)
  and ($4::text is null or p.badge ilike $4::text or p.name ilike $4::text)
  and not exists (select from tinebook.veiled as v where v.digest = tinebook.veil(p.badge))
order by p.badge
limit $2::integer;

-- name: person_name
-- What is somebody called?
select p.name from tinebook.person as p where p.badge = $1::text;

-- name: lock_person
-- One person, locked against changes of what they may do until this is over.
select p.name from tinebook.person as p where p.badge = $1::text for update;

-- name: certificates
-- The certificates of people, each person's newest last; those that have begun by a day where one is given.
select c.badge, c.certificate_number, c.certificate_kind, c.from_on, c.recorded_by, c.recorded_at
from tinebook.person_certificate as c
where c.badge = any ($1::text[]) and ($2::date is null or c.from_on <= $2::date)
order by c.badge, c.from_on, c.number;

-- name: record_certificate
-- A certificate from a day on; without a number it ends there.
insert into tinebook.person_certificate (badge, certificate_number, certificate_kind, from_on, recorded_by, recorded_at)
values ($1::text, $2::text, $3::text, $4::date, $5::text, $6::timestamptz);

-- name: authorities
-- What people may sign for, and what they might once, in the order in which it was given.
select a.badge, a.number, a.what, a.scope, a.from_on, a.until_on, a.recorded_by, a.recorded_at,
       w.withdrawn_at, w.withdrawn_by, w.reason
from tinebook.person_authority as a
left join tinebook.authority_withdrawal as w on w.authority = a.number
where a.badge = any ($1::text[])
order by a.badge, a.number;

-- name: record_authority
-- Somebody may sign for something from a day on.
insert into tinebook.person_authority (badge, what, scope, from_on, until_on, recorded_by, recorded_at)
values ($1::text, $2::text, $3::text, $4::date, $5::date, $6::text, $7::timestamptz);

-- name: withdraw_authority
-- Take back an authority of somebody, unless that was done before.
insert into tinebook.authority_withdrawal (authority, reason, withdrawn_by, withdrawn_at)
select a.number, $3::text, $4::text, $5::timestamptz
from tinebook.person_authority as a
where a.number = $2::bigint and a.badge = $1::text
on conflict on constraint authority_withdrawal_once do nothing;

-- name: authority_of
-- Is this an authority of that person?
select a.number from tinebook.person_authority as a where a.number = $2::bigint and a.badge = $1::text;

-- name: identities
-- Who people are to the identity provider now.
select distinct on (i.badge) i.badge, i.issuer, i.subject
from tinebook.person_identity as i
where i.badge = any ($1::text[])
order by i.badge, i.number desc;

-- name: record_identity
-- Somebody is known to the provider under this subject from now on.
insert into tinebook.person_identity (badge, issuer, subject, recorded_by, recorded_at)
values ($1::text, $2::text, $3::text, $4::text, $5::timestamptz);

-- name: badge_of_identity
-- Whose identity is this, if it still is the newest of that person's?
select i.badge
from tinebook.person_identity as i
where i.issuer = $1::text and i.subject = $2::text
  and not exists (select from tinebook.person_identity as later where later.badge = i.badge and later.number > i.number);

-- name: secret_of
-- What a secret is known by.
select s.hash, s.initial from tinebook.person_secret as s where s.badge = $1::text;

-- name: keep_secret
-- What a secret is known by from now on.
insert into tinebook.person_secret (badge, hash, initial, set_at)
values ($1::text, $2::text, $3::boolean, $4::timestamptz)
on conflict on constraint person_secret_one_a_badge
do update set hash = excluded.hash, initial = excluded.initial, set_at = excluded.set_at;

-- name: swap_secret
-- What a secret is known by from now on, unless another took the place of the one that was shown meanwhile.
update tinebook.person_secret as s
set hash = $3::text, initial = false, set_at = $4::timestamptz
where s.badge = $1::text and s.hash = $2::text
returning s.badge;

-- name: record_secret_issue
-- Somebody gave out an initial secret.
insert into tinebook.secret_issue (badge, reason, issued_by, issued_at)
values ($1::text, $2::text, $3::text, $4::timestamptz);

-- name: open_attempts
-- A line for the attempts of a badge, if there is none yet.
insert into tinebook.secret_attempt (badge, failures, blocked_until)
values ($1::text, 0, $2::timestamptz)
on conflict on constraint secret_attempt_one_a_badge do nothing;

-- name: lock_attempts
-- The attempts of a badge; whoever else tries at the same moment waits here.
select a.failures, a.blocked_until from tinebook.secret_attempt as a where a.badge = $1::text for update;

-- name: count_attempt
-- One attempt more.
update tinebook.secret_attempt as a
set failures = $2::integer, blocked_until = $3::timestamptz
where a.badge = $1::text;

-- name: signing_rules
-- Every word on the switches of signing, the newest first.
select r.number, r.name, r.allowed, r.reason, r.recorded_by, r.recorded_at
from tinebook.signing_rule as r
order by r.number desc;

-- name: signing_rule
-- Whether a switch is on. Without a word on it, it is off.
select r.allowed from tinebook.signing_rule as r where r.name = $1::text order by r.number desc limit 1;

-- name: record_signing_rule
-- A switch is on or off from now on.
insert into tinebook.signing_rule (name, allowed, reason, recorded_by, recorded_at)
values ($1::text, $2::boolean, $3::text, $4::text, $5::timestamptz);

-- name: lock_signing
-- One signature at a time on a subject.
select pg_advisory_xact_lock(hashtextextended($1::text || ':' || $2::text, 746));

-- name: signed_work
-- The steps that a subject is about, and where each belongs.
select s.performed_by, s.happened_at, s.is_void, c.family, b.shop
from tinebook.signed_work($1::text, $2::text) as s
join tinebook.connector as c on c.connector = s.connector
left join tinebook.bench as b on b.name = s.bench
order by s.happened_at, s.entry;

-- name: entries_by_id
-- Entries of the ledger by their ids.
select e.id, e.body
from tinebook.receipt as r
join tinebook.entry as e on e.connector = r.connector and e.id = r.id
where r.id = any ($1::uuid[]);

-- name: signatures
-- The signatures on a subject, oldest first.
select s.number, s.id, s.subject, s.reference, s.meaning, s.outcome, s.remark, s.badge, s.name, s.certificate_number,
       s.certificate_kind, s.method, s.exception_reason, s.canonical, s.sha256, s.seal, s.signed_at
from tinebook.signature as s
where s.subject = $1::text and s.reference = $2::text
order by s.number;

-- name: every_signature
-- All signatures, those on one subject after one another, oldest first.
select s.number, s.id, s.subject, s.reference, s.meaning, s.outcome, s.remark, s.badge, s.name, s.certificate_number,
       s.certificate_kind, s.method, s.exception_reason, s.canonical, s.sha256, s.seal, s.signed_at
from tinebook.signature as s
order by s.subject, s.reference, s.number;

-- name: signatures_unlike_the_feed
-- Signatures that the feed does not know, or knows with another seal, and those that only the feed knows.
select coalesce(s.id, f.id) as id
from (
    select a.id, a.body from tinebook.feed as a where a.topic = 'signature.made'
    union all
    select w.id, w.body from tinebook.feed_arrival as w where w.topic = 'signature.made'
) as f
full join tinebook.signature as s on s.id = f.id
where f.id is null or s.id is null or convert_from(f.body, 'UTF8')::jsonb ->> 'seal' <> encode(s.seal, 'hex');

-- name: signature_subject
-- What is the signature of this id on?
select s.subject, s.reference from tinebook.signature as s where s.id = $1::uuid;

-- name: signatures_of_person
-- What somebody signed lately, the newest first.
select s.id, s.subject, s.reference, s.meaning, s.outcome, s.signed_at
from tinebook.signature as s
where s.badge = $1::text
order by s.number desc
limit $2::integer;

-- name: make_signature
-- Keep a signature; the rules of the database have the last word.
insert into tinebook.signature (id, subject, reference, meaning, outcome, remark, badge, name, certificate_number,
                                certificate_kind, method, exception_reason, canonical, sha256, seal, signed_at)
values ($1::uuid, $2::text, $3::text, $4::text, $5::text, $6::text, $7::text, $8::text, $9::text, $10::text, $11::text,
        $12::text, $13::bytea, $14::bytea, $15::bytea, $16::timestamptz);

-- name: keep_signing_attempt
-- What somebody is about to sign, until they come back from the identity provider.
insert into tinebook.signing_attempt (digest, request, began_at, expires_at)
values ($1::bytea, $2::bytea, $3::timestamptz, $4::timestamptz);

-- name: take_signing_attempt
-- What that was, once.
delete from tinebook.signing_attempt as a
where a.digest = $1::bytea
returning a.request, a.began_at, a.expires_at;

-- name: forget_signing_attempts
-- Drop what nobody came back for.
delete from tinebook.signing_attempt as a where a.expires_at <= $1::timestamptz;
