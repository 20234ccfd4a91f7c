-- Sites, tools, incidents with every state they have been in, and the change log the
-- search index and the statistics follow. Times are microseconds since 1970, UTC.

create table site (
    code text primary key check (length(code) between 2 and 8),
    name text not null,
    place text not null
) strict;

create table tool (
    id text primary key check (length(id) > 0),
    site text not null references site (code),
    class text not null,
    serial text not null,
    in_service text,
    volume_litres real not null check (volume_litres > 0),
    speed_litres_per_second real not null check (speed_litres_per_second > 0),
    healthy_value real not null check (healthy_value > 0),
    healthy_unit text not null,
    -- JSON lists: read as a whole, never searched.
    components text not null,
    gauges text not null
) strict;

create index tool_by_site on tool (site, id);

-- The present state of an incident, as far as lists and constraints need it.
-- The words are in the newest revision.
create table incident (
    number integer primary key check (number > 0),
    revision integer not null check (revision > 0),
    tool text not null references tool (id),
    status text not null check (status in ('open', 'closed')),
    occurred_at integer not null,
    closed_at integer,
    cause text,
    healthy_pa real check (healthy_pa > 0),
    faulty_pa real check (faulty_pa > 0),
    restored_pa real check (restored_pa > 0),
    labour_minutes real check (labour_minutes >= 0),
    down_hours real check (down_hours >= 0),
    check (status = 'closed' or closed_at is null),
    check (status = 'open' or (closed_at >= occurred_at and cause is not null))
) strict;

create index incident_by_tool on incident (tool, occurred_at);
create index incident_by_status on incident (status, occurred_at);

create table revision (
    number integer not null references incident (number),
    revision integer not null check (revision > 0),
    at integer not null,
    author text not null check (length(author) > 0),
    reason text not null,
    record text not null check (length(record) > 0),
    primary key (number, revision),
    check (revision = 1 or length(reason) > 0)
) strict;

create trigger revision_is_kept before delete on revision
begin
    select raise(abort, 'a revision is never deleted');
end;

create trigger revision_is_final before update on revision
begin
    select raise(abort, 'a revision is never changed; write a new one');
end;

create trigger incident_is_kept before delete on incident
begin
    select raise(abort, 'an incident is never deleted');
end;

create table change (
    seq integer primary key check (seq > 0),
    number integer not null references incident (number),
    revision integer not null check (revision > 0)
) strict;

-- The last number handed out, taken inside the writing transaction so that a later
-- number can never become visible before an earlier one.
create table counter (
    name text primary key,
    value integer not null check (value >= 0)
) strict;

insert into counter (name, value) values ('change', 0), ('incident', 0);

-- Tells a copy of this store from a copy of another.
insert into counter (name, value) values ('identity', abs(random() % 9007199254740991));

-- Answers already given to a request that carried a key, so that a repeat is the same request.
create table filing_key (
    key text primary key check (length(key) between 1 and 200),
    digest text not null,
    number integer not null references incident (number)
) strict;
