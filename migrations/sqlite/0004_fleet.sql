-- What people keep up about sites and tools besides incidents: what bringing help costs a
-- site, the day a tool left service, and services that were planned.

alter table site add column help_minutes real
    check (help_minutes is null or help_minutes between 0 and 1000000);

alter table tool add column out_of_service text;

create table service (
    id integer primary key check (id > 0),
    tool text not null references tool (id),
    component text not null check (length(component) > 0),
    done_on text not null check (length(done_on) = 10),
    note text not null,
    author text not null check (length(author) > 0),
    at integer not null,
    -- Set once, when the entry turns out to be wrong; it then counts no longer.
    withdrawn_at integer,
    check (withdrawn_at is null or withdrawn_at >= at)
) strict;

create unique index service_once on service (tool, component, done_on)
    where withdrawn_at is null;

create trigger service_is_kept before delete on service
begin
    select raise(abort, 'a service is never deleted; withdraw it');
end;

create trigger service_is_final before update on service
    when old.withdrawn_at is not null or new.id <> old.id or new.tool <> old.tool
        or new.component <> old.component or new.done_on <> old.done_on
        or new.note <> old.note or new.author <> old.author or new.at <> old.at
begin
    select raise(abort, 'a service is never changed; withdraw it and write a new one');
end;

-- Every change of a site or a tool: who, when and why, and what it was before.
create table fleet_change (
    seq integer primary key check (seq > 0),
    at integer not null,
    author text not null check (length(author) > 0),
    reason text not null,
    site text references site (code),
    tool text references tool (id),
    field text not null check (length(field) > 0),
    was text not null,
    becomes text not null,
    check ((site is null) <> (tool is null))
) strict;

create index fleet_change_by_tool on fleet_change (tool, seq);
create index fleet_change_by_site on fleet_change (site, seq);

create trigger fleet_change_is_kept before delete on fleet_change
begin
    select raise(abort, 'a change of the fleet is never deleted');
end;

create trigger fleet_change_is_final before update on fleet_change
begin
    select raise(abort, 'a change of the fleet is never changed');
end;

insert into counter (name, value) values ('fleet', 0), ('service', 0);
