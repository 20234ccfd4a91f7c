-- Calculations attached to incidents: what went in, what came out, and which program
-- computed it, so that the same request can be computed again and compared.

create table calculation (
    id integer primary key check (id > 0),
    number integer not null references incident (number),
    name text not null check (length(name) > 0),
    at integer not null,
    author text not null check (length(author) > 0),
    version text not null check (length(version) > 0),
    request text not null check (length(request) > 0),
    report text not null check (length(report) > 0)
) strict;

create index calculation_by_incident on calculation (number, id);

create trigger calculation_is_kept before delete on calculation
begin
    select raise(abort, 'a calculation is never deleted');
end;

create trigger calculation_is_final before update on calculation
begin
    select raise(abort, 'a calculation is never changed; attach a new one');
end;

insert into counter (name, value) values ('calculation', 0);
