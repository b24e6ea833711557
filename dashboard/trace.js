/**
 * The last seconds of the raw loads: decoding of the binary message, fixed-length columns, decimation to pixels.
 * The layout of the message is that of daq/live/telling/messages.py.
 *
 * @typedef {{t0_s: number, t_s: Float64Array, series: Float32Array[]}} Block
 */

export const LOADS_KIND = 1;
const HEAD_BYTES = 12;

/**
 * Decodes one binary message of n scans. Throws a RangeError that says what was expected if it is not one.
 * @param {ArrayBuffer} buffer
 * @returns {Block}
 */
export function decodeBlock(buffer) {
  if (buffer.byteLength < HEAD_BYTES)
    throw new RangeError(`a loads message has at least ${HEAD_BYTES} bytes, not ${buffer.byteLength}`);
  const view = new DataView(buffer);
  const kind = view.getUint8(0);
  if (kind !== LOADS_KIND) throw new RangeError(`a loads message starts with ${LOADS_KIND}, not ${kind}`);
  const count = view.getUint8(1);
  const n = view.getUint16(2, true);
  const t0_s = view.getFloat64(4, true);
  const expected = HEAD_BYTES + 4 * n * (1 + count);
  if (buffer.byteLength !== expected) {
    throw new RangeError(`scans: ${n}, of ${count} series; they take ${expected} bytes, not ${buffer.byteLength}`);
  }
  const floats = littleEndianFloats(buffer, HEAD_BYTES, n * (1 + count));
  const t_s = Float64Array.from(floats.subarray(0, n), (dt_s) => t0_s + dt_s);
  const series = Array.from({ length: count }, (_, k) => floats.subarray(n * (1 + k), n * (2 + k)));
  return { t0_s, t_s, series };
}

const HOST_IS_LITTLE_ENDIAN = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;

function littleEndianFloats(/** @type {ArrayBuffer} */ buffer, /** @type {number} */ offset, /** @type {number} */ n) {
  if (HOST_IS_LITTLE_ENDIAN) return new Float32Array(buffer, offset, n);
  const view = new DataView(buffer, offset);
  return Float32Array.from({ length: n }, (_, i) => view.getFloat32(4 * i, true));
}

/** Fixed-length columns of time and the first series, newest at the right end; older scans leave on the left. */
export class Trace {
  /** @param {number} length scans kept @param {number} count series kept: hands, saddle, tilt */
  constructor(length, count = 3) {
    this.t_s = new Float64Array(length).fill(NaN);
    this.columns = Array.from({ length: count }, () => new Float32Array(length).fill(NaN));
    this.filled = 0;
    this.lead_s = NaN;
  }

  /**
   * Adds a block. Time that jumps back by over a second means a new session: earlier data is dropped.
   * @param {Block} block
   */
  push(block) {
    const n = block.t_s.length;
    const length = this.t_s.length;
    if (!n) return;
    if (block.t_s[0] < this.end_s - 1) this.clear();
    shiftIn(this.t_s, block.t_s);
    this.columns.forEach((column, k) => shiftIn(column, block.series[k]));
    this.filled = Math.min(length, this.filled + n);
  }

  clear() {
    this.filled = 0;
    this.lead_s = NaN;
    this.t_s.fill(NaN);
    this.columns.forEach((column) => column.fill(NaN));
  }

  /** Session time of the newest scan, s; NaN when empty. */
  get end_s() {
    return this.t_s[this.t_s.length - 1];
  }

  /**
   * Ties session time to the page's clock, so that the chart glides between blocks: the largest lead seen wins,
   * and fades by 1 ms a block to follow a clock that runs slower. @param {number} received_ms
   */
  pace(received_ms) {
    const lead_s = this.end_s - received_ms / 1000;
    this.lead_s = Number.isNaN(this.lead_s) ? lead_s : Math.max(lead_s, this.lead_s - 0.001);
  }

  /** Session time now, s; NaN before the first block. @param {number} now_ms */
  now_s(now_ms) {
    return now_ms / 1000 + this.lead_s;
  }

  /** Scans a second among the newest 200; NaN with fewer than two. */
  get rate_hz() {
    const n = Math.min(200, this.filled);
    return n < 2 ? NaN : (n - 1) / (this.end_s - this.t_s[this.t_s.length - n]);
  }

  /** Mean of one column over its last `span_s` seconds; NaN when empty. @param {number} k @param {number} span_s */
  mean(k, span_s) {
    const from_s = this.end_s - span_s;
    let sum = 0;
    let n = 0;
    for (let i = this.t_s.length - 1; i >= 0 && this.t_s[i] > from_s; i--, n++) sum += this.columns[k][i];
    return n ? sum / n : NaN;
  }
}

/** @param {Float64Array|Float32Array} column @param {Float64Array|Float32Array} fresh */
function shiftIn(column, fresh) {
  const n = Math.min(fresh.length, column.length);
  column.copyWithin(0, n);
  column.set(fresh.subarray(fresh.length - n), column.length - n);
}

/**
 * Smallest and largest value in each of the equal bins that cover [from_s, to_s], in time order: 2 values a bin,
 * so every peak is drawn and each scan is read once. Bins lie on multiples of their width, so the
 * picture does not shimmer as it moves. An empty bin gives null: a gap, not a line across it.
 * @param {Float64Array} t_s ascending; leading NaN are skipped
 * @param {Float32Array} y
 * @param {number} from_s
 * @param {number} to_s
 * @param {number} bins
 * @returns {{t_s: number[], y: (number|null)[]}}
 */
export function decimate(t_s, y, from_s, to_s, bins) {
  const width_s = (to_s - from_s) / bins;
  const first = Math.floor(from_s / width_s);
  const count = bins + 1;
  const low = new Float32Array(count).fill(Infinity);
  const high = new Float32Array(count).fill(-Infinity);
  for (let i = t_s.length - 1; i >= 0; i--) {
    const bin = Math.floor(t_s[i] / width_s) - first;
    if (!(bin >= 0)) break;
    if (bin >= count) continue;
    if (y[i] < low[bin]) low[bin] = y[i];
    if (y[i] > high[bin]) high[bin] = y[i];
  }
  const out = {
    t_s: /** @type {number[]} */ (new Array(2 * count)),
    y: /** @type {(number|null)[]} */ (new Array(2 * count)),
  };
  for (let bin = 0; bin < count; bin++) {
    const start_s = (first + bin) * width_s;
    const empty = high[bin] === -Infinity;
    out.t_s[2 * bin] = start_s;
    out.t_s[2 * bin + 1] = start_s + width_s / 2;
    out.y[2 * bin] = empty ? null : low[bin];
    out.y[2 * bin + 1] = empty ? null : high[bin];
  }
  return out;
}
