-- After a salvage: rows whose check, gear or boot was lost stay reachable, by a row that stands in for it.
-- A link to a lost trace stays, so that the finding is known to lack it.

BEGIN;

INSERT INTO check_run (run_key, run, check_kind, options_json, gear_key, state, boot_key,
                       begun_monotonic_ns, begun_wall_s, begun_clock_synced)
SELECT run_key, 'lost-' || run_key, 'unknown', '{}', 0, 'abandoned', 0, 0, 0.0, 0
  FROM (SELECT run_key FROM sweep UNION SELECT run_key FROM finding)
 WHERE run_key NOT IN (SELECT run_key FROM check_run);

UPDATE check_run SET state = 'abandoned' WHERE gear_key NOT IN (SELECT gear_key FROM gear);

INSERT INTO gear (gear_key, sha256, gear_json)
SELECT gear_key, 'lost-' || gear_key, '{}'
  FROM (SELECT gear_key FROM check_run UNION SELECT gear_key FROM finding)
 WHERE gear_key NOT IN (SELECT gear_key FROM gear);

INSERT INTO boot (boot_key, boot_id, program, process_id, last_ticket, monotonic_ns, wall_s, clock_synced)
SELECT boot_key, 'lost-' || boot_key, 'unknown', 0, 0, 0, 0.0, 0
  FROM (SELECT boot_key FROM check_run UNION SELECT boot_key FROM event
        UNION SELECT boot_key FROM sweep UNION SELECT boot_key FROM finding)
 WHERE boot_key NOT IN (SELECT boot_key FROM boot);

UPDATE event SET run_key = NULL WHERE run_key NOT IN (SELECT run_key FROM check_run);

UPDATE sweep SET reason = '{"code":"readings-lost","values":{}}', trace_key = NULL,
                 state = CASE state WHEN 'whole' THEN 'interrupted' ELSE state END
 WHERE trace_key NOT IN (SELECT trace_key FROM trace);

UPDATE finding SET superseded_by = NULL WHERE superseded_by NOT IN (SELECT finding_key FROM finding);

UPDATE move SET verified_by = NULL WHERE verified_by NOT IN (SELECT finding_key FROM finding);

COMMIT;
