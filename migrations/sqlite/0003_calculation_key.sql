-- Answers already given to a request to attach a calculation that carried a key, so that a
-- repeat is the same request.

create table calculation_key (
    key text primary key check (length(key) between 1 and 200),
    digest text not null,
    calculation integer not null references calculation (id)
) strict;
