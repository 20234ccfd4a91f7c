-- Logs too long to stand in the request of a calculation: each text once, packed, and which
-- calculations it went into.

create table kept_log (
    sha256 text primary key check (length(sha256) = 64),
    bytes integer not null check (bytes >= 0),
    packed blob not null
) strict;

create table calculation_log (
    calculation integer not null references calculation (id),
    field text not null check (length(field) > 0),
    sha256 text not null references kept_log (sha256),
    primary key (calculation, field)
) strict;

create trigger kept_log_is_kept before delete on kept_log
begin
    select raise(abort, 'a log kept with a calculation is never deleted');
end;

create trigger kept_log_is_final before update on kept_log
begin
    select raise(abort, 'a log kept with a calculation is never changed');
end;

create trigger calculation_log_is_kept before delete on calculation_log
begin
    select raise(abort, 'a log kept with a calculation is never deleted');
end;

create trigger calculation_log_is_final before update on calculation_log
begin
    select raise(abort, 'a log kept with a calculation is never changed');
end;
