/**
 * What the daemon sends, as types: nothing here runs. A test compares these types, the saved examples in
 * tests/live/messages.json and what the daemon sends. A rider's screen is sent less (daq/live/telling/blind.py).
 *
 * @typedef {{name: string, kind: string, state: string, age_s: number|null, stale_after_s: number, rate_hz: number,
 *   dropped: number, damaged: number, late: number, clock_error_ms: number|null, message: string}} Source
 *
 * @typedef {{unit: string, step: number, saddle: boolean, effort: string,
 *   heard: {power_w: number, cadence_rpm: number|null}|null, wants_effort: boolean, taken: number, due_in_s: number[],
 *   shown: string[], shown_saddle: string[]}} Typed what a rig without a board asks of a person; times of the readings
 *
 * @typedef {{kind: string, channel: string, sentence: string, on: string}} Doubt
 *
 * @typedef {{hands: number|null, saddle: number|null, feet: number|null}} Shares
 * @typedef {{start_s: number, end_s: number, hands_n: number, saddle_n: number, feet_n: number|null,
 *   tilt_deg: number|null, crank_torque_nm: number|null, power_w: number|null, cells_n: number[], cadence_rpm: number,
 *   scans: number, flags: number, shares: Shares, gradient_pct: number|null, u_n: Shares, expanded_n: Shares}} Stroke
 *
 * @typedef {{setback_mm: number, saddle_height_mm: number|null, bar_x_mm: number|null, bar_y_mm: number|null,
 *   saddle_tilt_deg: number|null, reach_change_mm: number|null, drop_change_mm: number|null}} Placed where saddle and
 *   bar stand, in one level
 * @typedef {{height_change_mm: number|null, reach_change_mm: number|null, seat_angle_deg: number|null,
 *   against_gravity_mm: number|null}} Stepping what a position changes
 * @typedef {{torque_nm: number, cadence_rpm: number, power_w: number, effort_w: number}} Effort
 *
 * @typedef {{state: string, accepts: string[], sweep_id: number, label: string, step: number, steps_planned: number,
 *   planned_mm: number[], asked_setback_mm: number|null, setback_mm: number|null, gradient_pct: number,
 *   protocol: string, order: string, height_policy: string, bar_height_policy: string, blinded: boolean,
 *   loaded_chance: number, chance_of: "today"|"another day", purpose: "onset"|"confirm"|"check",
 *   settle_s: number, settle_left_s: number|null, dwell_s: number, dwell_left_s: number|null, seconds_left: number,
 *   power_w: number, cadence_rpm: number, torque_band_nm: [number, number], power_band_w: [number, number],
 *   cadence_band_rpm: [number, number], in_band: boolean|null, torque_nm: number|null, effort: Effort|null,
 *   why_waiting: string, why_here: string, noted_step: number|null, notes: Record<string, number>, pain: boolean, pain_told: boolean, over: string,
 *   pains: {setback_mm: number|null, score: number, said: string}[],
 *   measured_to: string|null, stepping: Stepping|null, target: Placed|null, set: Placed|null,
 *   measured: Record<string, number>|null,
 *   may_go_on: boolean, to_settle: {positions_mm: number[], minutes: number}|null,
 *   outlook: {smallest_n_per_mm: number|null, sentence: string, would_help: string[]}|null,
 *   typed: Typed|null}} Sweep
 *
 * @typedef {{index: number, setback_mm: number, u_setback_mm: number|null, setting: Placed|null, hand_load_n: number,
 *   se_n: number|null, t_min: number, crank_torque_nm: number|null, saddle_load_n: number, tilt_deg: number|null,
 *   strokes: number, excluded: number, notes: Record<string, number>}} Step
 *
 * @typedef {{test: string, value: number|null, unit: string, interval_95: [number, number]|null, result: string,
 *   forbids: boolean, means: string, cure: string, ride_mm: number[]}} Validity
 * @typedef {{verdict: string, gradual: boolean, onset_mm: number|null, interval_95_mm: [number, number]|null,
 *   p_onset: number, p_light: number, p_loaded: number, least_squares_mm: number|null, rss: number|null,
 *   suggested_setback_mm: number|null, light_load_n: number|null, slope_n_per_mm: number|null,
 *   rise_n_per_mm: number|null, reasons: string[], grade: string, all_measured: boolean, caution: string, method: string,
 *   line: {setback_mm: number[], hand_load_n: number[]}, step_off_mm: number,
 *   validity: Validity[], evidence: string[], p_loaded_at: [number, number][], p_lag: [number, number][],
 *   between_n: number|null, cures: string[],
 *   next_ride: {new_mm: number[], again_mm: number[], whole: boolean, steps: number, minutes: number|null}|null,
 *   likelihood: {rear_mm: number, step_mm: number, log_l: number[], log_light: number, log_loaded: number}|null}} Onset
 *
 * @typedef {{level: "info"|"caution"|"alarm", text: string, t_s: number|null, pain: boolean, see: string|null}} Notice
 *
 * @typedef {{number: number, stage: string, task: {id: string, cell: string|null, load_n: number, kg: number|null, over: string[],
 *   place: string, tilt_deg: number|null}|null, minutes_left: number,
 *   instruction: string, done: number, planned: number, taken: {task: string, cell: string|null, series: number|null, words: string}[], reading: {seconds: number, of_s: number}|null,
 *   findings: {kind: string, sentence: string, may_be_accepted: boolean}[], accepts: string[],
 *   live: {cell: string, counts: number, load_n: number|null, moves_counts: number}[],
 *   calibration: string|null, problem: string}} Bench
 *
 * @typedef {{bar_mm: [number, number], saddle_mm: [number, number],
 *   cells: {cell: string, x_mm: number, y_mm: number}[]}} Drawn where things are in the frame of the jig
 * @typedef {{name: string, cells: string[], rate_hz: number, self_locking: boolean, power_zero: boolean,
 *   not_measured: string[], typed: {unit: string, scales: string[]}|null, drawn: Drawn}} Rig
 * @typedef {{pseudonym: string, mass_kg: number|null}} Rider
 * @typedef {{id: string, made_utc: string, standing: string, sentence: string, until_utc: string|null,
 *   allows_verdict: boolean, stale: boolean, proof: string, unproved: boolean}} Calibration
 *
 * @typedef {{type: "snapshot", version: string, now_s: number, simulated: boolean, recording: boolean, rig: Rig,
 *   rider: Rider, calibration: Calibration, doubts: Doubt[], taken_by: string|null, bench: Bench|null, sources: Source[], sweep: Sweep|null,
 *   steps: Step[], onset: Onset|null, notices: Notice[], visit: any}} Snapshot
 *
 * @typedef {Snapshot
 *   | {type: "sources", now_s: number, sources: Source[], doubts: Doubt[], stored: boolean, taken_by: string|null,
 *      expanded_n: {hands: number|null, saddle: number|null}}
 *   | {type: "stroke"} & Stroke | {type: "sweep"} & Sweep | {type: "steps", steps: Step[]} | {type: "onset"} & Onset
 *   | {type: "notice"} & Notice | {type: "bench", bench: Bench|null} | {type: "visit", visit: any}} Message
 */

export {};
