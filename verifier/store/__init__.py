"""The memory of health sweeps: SQLite by default, PostgreSQL by URL; one store, one network.

    with opened("harbour.sweeps.db") as kept, kept.locked():
        remembered = kept.memories()
        ...                                   # measure, then rules.health.follow
        kept.save(sweep, memories, changes, notices, deliveries=("command",))

Opening creates the tables; those of another version are refused with InputError. All that one
sweep brings is written in one transaction, or not at all. Reading needs no lock. Every method
raises StoreError (exit code 6; 2 where no store can be there) where the database refuses, is full,
locked or gone; then nothing of that call is in it. Rows of one device that the database does not
take are left out with a word to the caller, and fail no other device's.

Tables (times `_s`: seconds since 1970-01-01 UTC by the wall clock, which may step; the order of
sweeps is that of their `id`):

    device         kind (device, link), name
    sweep        started_s, took_s (monotonic), valid_s (for how long it speaks if no other follows
                 sooner), skipped, clock_step_s, plan_name, plan_revision, plan_sha256; kept as
                 long as `hour`
    reading      a sweep, a device: state as seen, answered (1, 0, null), rtt_ms (median), loss_pct,
                 uptime_s, root_kind and root_name (null: itself), reasons_id (null: none)
    reasons      id, text: a JSON list of check, verdict, text; stored once however often it is so,
                 used_sweep_id the newest sweep that has it
    level        a sweep, a link's carrier and end: rx_level_dbm; no row where it was not read
    port_errors  a sweep, a device's port: errors added since the sweep before; no row for none
    hour         the readings of an hour (hour_s its start): time in each state, each sweep counting
                 until the next one starts but not beyond its valid_s; answered_s, unanswered_s;
                 median and largest RTT, mean loss
    hour_level   samples, min, median, max of an hour
    hour_port    errors added in an hour
    memory       a device now: confirmed state, since when, what it hangs on, what is pending,
                 the state of the newest message about it (notified)
    change       confirmed changes, for ever; before is null where the device was new, `untested`
                 where it was not sound when it was first seen
    port         the counters last read
    message      the outbox; delivery: what has delivered each, what is still to
    meta         schema (its version)

Counts of errors hold every Counter64 and sums of them: NUMERIC(40) in PostgreSQL; in SQLite an
integer, above 2^63-1 its digits as text (`schema.Count`).

`reading`, `level`, `port_errors` are kept for 14 days, `hour*` and `sweep` for 400 days, `change`
for ever; `Retention` sets it. An hour is rolled up by the first sweep that starts in a later one:
a long period is read from `hour*` and, for sweeps whose `kept` is `open`, from `reading`.
`Store.rows` runs any `select` over the tables of `verifier.store.schema`.
"""
