package history

// views are for whoever reads the file with a tool of their own: plain columns with
// their units in their names, times as ISO 8601 in UTC, NULL for what was not recorded.
// Described says what each column is. It is a step of the schema: once files have had it, a
// view is changed by a further step that drops it and makes it anew.
const views = `
CREATE VIEW v_part AS
SELECT run, id AS part, program,
	strftime('%Y-%m-%dT%H:%M:%fZ', began_ms / 1000.0, 'unixepoch') AS began,
	sum(after_ms) OVER (PARTITION BY run ORDER BY id) / 1000.0 AS offset_s, bench_ms / 1000.0 AS took_s, cycles
FROM (SELECT *, coalesce(lag(bench_ms) OVER w + max(began_ms - lag(last_ms) OVER w, 1), 0) AS after_ms
	FROM part WINDOW w AS (PARTITION BY run ORDER BY id));

CREATE VIEW v_recipe AS
SELECT name AS recipe, (SELECT count(*) FROM recipe AS o WHERE o.name = r.name AND o.rowid <= r.rowid) AS version,
	fingerprint, parent AS made_from_fingerprint, run AS made_from_run,
	strftime('%Y-%m-%dT%H:%M:%fZ', added_ms / 1000.0, 'unixepoch') AS kept_since,
	(SELECT count(*) FROM run WHERE run.recipe = r.fingerprint) AS runs, source AS as_typed
FROM recipe AS r;

CREATE VIEW v_verdict AS
SELECT shot.run, shot.number AS shot_number, fault.fault,
	(SELECT group_concat(value, ' and ') FROM json_each(fault.colours)) AS colours, nullif(fault.cavity, '') AS cavity, fault.day,
	strftime('%Y-%m-%dT%H:%M:%fZ', fault.wall_ms / 1000.0, 'unixepoch') AS written, shot.withdrawn AS taken_back
FROM fault JOIN shot ON shot.id = fault.shot;

CREATE VIEW v_shot AS
SELECT shot.run, shot.number AS shot_number, v_recipe.recipe, v_recipe.version AS recipe_version, run.invented,
	strftime('%Y-%m-%dT%H:%M:%fZ', shot.wall_ms / 1000.0, 'unixepoch') AS pushed,
	v_part.offset_s + shot.bench_ms / 1000.0 AS at_s, nullif(shot.mould, '') AS mould, nullif(shot.note, '') AS note,
	shot.withdrawn AS taken_back,
	CASE WHEN judged THEN spoiled = 0 END AS clean,
	CASE WHEN judged THEN spoiled END AS spoiled,
	faults, faults_later,
	json_extract(card, '$.spread_c') AS spread_k, json_extract(card, '$.draw_to_push_s') AS draw_to_push_s,
	json_extract(card, '$.mould_c') AS mould_c, json_extract(card, '$.room_c') AS room_c,
	(SELECT count(*) FROM photo WHERE photo.shot = shot.id) AS photos
FROM shot JOIN run ON run.id = shot.run JOIN v_recipe ON v_recipe.fingerprint = run.recipe JOIN v_part ON v_part.part = shot.part
LEFT JOIN (SELECT shot AS judged, max(fault <> 'clean') AS spoiled,
	group_concat(DISTINCT CASE WHEN fault <> 'clean' AND day = 0 THEN fault END) AS faults,
	group_concat(DISTINCT CASE WHEN fault <> 'clean' AND day > 0 THEN fault END) AS faults_later
	FROM fault GROUP BY shot) ON judged = shot.id;

CREATE VIEW v_shot_pot AS
SELECT shot.run, shot.number AS shot_number, pot.key + 1 AS pot, json_extract(pot.value, '$.name') AS pot_name,
	json_extract(pot.value, '$.colour') AS colour, json_extract(pot.value, '$.state') AS state,
	json_extract(pot.value, '$.melt_c') AS melt_c, json_extract(pot.value, '$.target_c') AS target_c,
	json_extract(pot.value, '$.band_c') AS band_k, json_extract(pot.value, '$.deviation_c') AS deviation_k,
	abs(json_extract(pot.value, '$.deviation_c')) > json_extract(pot.value, '$.band_c') AS out_of_band,
	json_extract(pot.value, '$.slope_c_per_min') AS slope_k_per_min, json_extract(pot.value, '$.plate_c') AS plate_c,
	json_extract(pot.value, '$.held_min') AS held_min, json_extract(pot.value, '$.since_stir_s') AS since_stir_s,
	json_extract(pot.value, '$.draw_to_push_s') AS draw_to_push_s, json_extract(pot.value, '$.run_dose_min') AS run_dose_min
FROM shot, json_each(shot.card, '$.pots') AS pot;

CREATE VIEW v_event AS
SELECT event.run, v_part.offset_s + event.bench_ms / 1000.0 AS at_s,
	strftime('%Y-%m-%dT%H:%M:%fZ', event.wall_ms / 1000.0, 'unixepoch') AS happened, event.kind, nullif(event.pot, 0) AS pot,
	nullif(event.text, '') AS text, nullif(event.amount, '') AS amount,
	CASE WHEN event.kind IN ('set-point', 'read by hand') THEN event.c END AS temperature_c
FROM event JOIN v_part ON v_part.part = event.part;

CREATE VIEW v_run AS
SELECT run.id AS run, run.session, v_recipe.recipe, v_recipe.version AS recipe_version, run.recipe AS recipe_fingerprint, run.title,
	strftime('%Y-%m-%dT%H:%M:%fZ', run.began_ms / 1000.0, 'unixepoch') AS began,
	strftime('%Y-%m-%dT%H:%M:%fZ', CASE WHEN run.state <> 'open' THEN coalesce(run.ended_ms, last_ms) END / 1000.0, 'unixepoch') AS ended,
	coalesce(took_ms, 0) / 1000.0 AS took_s, coalesce(cycles, 0) AS cycles, run.state, run.invented,
	(SELECT count(*) FROM shot WHERE shot.run = run.id AND NOT withdrawn) AS shots,
	(SELECT count(DISTINCT shot.id) FROM shot JOIN fault ON fault.shot = shot.id WHERE shot.run = run.id AND NOT withdrawn
		AND NOT EXISTS (SELECT 1 FROM fault AS other WHERE other.shot = shot.id AND other.fault <> 'clean')) AS clean_shots,
	(SELECT count(DISTINCT shot.id) FROM shot JOIN fault ON fault.shot = shot.id WHERE shot.run = run.id AND NOT withdrawn
		AND fault.fault <> 'clean') AS spoiled_shots,
	nullif(run.note, '') AS note, nullif(run.brought_from, '') AS brought_from,
	strftime('%Y-%m-%dT%H:%M:%fZ', nullif(run.brought_ms, 0) / 1000.0, 'unixepoch') AS brought,
	strftime('%Y-%m-%dT%H:%M:%fZ', nullif(run.thinned_ms, 0) / 1000.0, 'unixepoch') AS thinned
FROM run JOIN v_recipe ON v_recipe.fingerprint = run.recipe
LEFT JOIN (SELECT run AS of_run, sum(cycles) AS cycles, sum(bench_ms) AS took_ms, max(last_ms) AS last_ms FROM part GROUP BY run)
	ON of_run = run.id;

CREATE VIEW v_potful AS
SELECT potful.run, potful.pot, potful.batch, potful.batch <> potful.own AS rest, batch.colour, nullif(batch.base, '') AS base,
	nullif(batch.lot, '') AS lot, nullif(batch.made, '') AS made, nullif(batch.note, '') AS note
FROM potful JOIN batch ON batch.id = potful.batch;

CREATE VIEW v_photo AS
SELECT shot.run, shot.number AS shot_number, photo.id AS photo,
	strftime('%Y-%m-%dT%H:%M:%fZ', photo.wall_ms / 1000.0, 'unixepoch') AS attached,
	photo.width AS width_px, photo.height AS height_px, length(photo.picture) AS picture_bytes, photo.picture AS picture_jpeg
FROM photo JOIN shot ON shot.id = photo.shot;
`

// eventView puts v_event in the place of the first one.
const eventView = `
DROP VIEW v_event;
CREATE VIEW v_event AS
SELECT event.run, v_part.offset_s + event.bench_ms / 1000.0 AS at_s,
	strftime('%Y-%m-%dT%H:%M:%fZ', event.wall_ms / 1000.0, 'unixepoch') AS happened, event.kind, nullif(event.pot, 0) AS pot,
	nullif(event.text, '') AS text, nullif(event.amount, '') AS amount,
	CASE WHEN event.kind IN ('set-point', 'read by hand') THEN event.c END AS temperature_c, nullif(event.said_from, '') AS said_from
FROM event JOIN v_part ON v_part.part = event.part;
`
