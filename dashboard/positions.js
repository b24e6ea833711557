/**
 * The order of saddle positions: every second one on the way forward, the others on the way back, so that
 * a slow drift of rider or cells does not look like an effect of setback.
 * @param {number} rear_mm @param {number} front_mm @param {number} apart_mm
 * @param {boolean} repeat the first at the end
 * @returns {number[]}
 */
export function outAndBack(rear_mm, front_mm, apart_mm, repeat) {
  if (!(apart_mm > 0) || !(rear_mm > front_mm)) return [];
  const count = Math.floor((rear_mm - front_mm) / apart_mm + 1e-9) + 1;
  const all = Array.from({ length: count }, (_, i) => rear_mm - i * apart_mm);
  const out = all.filter((_, i) => i % 2 === 0);
  const back = all.filter((_, i) => i % 2 === 1).reverse();
  return [...out, ...back, ...(repeat ? [rear_mm] : [])];
}
