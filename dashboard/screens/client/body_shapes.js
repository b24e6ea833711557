/**
 * The outline of a rider and of two palms, our own drawing, and the places on it. Each figure is one half, mirrored; a
 * place is a patch cut out of the half by its outline. `middle` places lie on both sides. Units: those of the view box.
 *
 * @typedef {{place: string, d: string, at: [number, number], middle?: boolean}} Patch
 */

/** From the crown down to the sole, the middle line at x = 0. */
export const HALF =
  "M0,6C14,6 21,17 21,32C21,46 15,56 9,61L10,71C17,80 34,83 47,89C61,94 67,105 69,120C72,141 76,160 80,180" +
  "C85,203 90,224 93,245C98,256 100,271 97,283C94,292 87,291 85,283C82,272 81,262 80,250C74,227 67,206 62,184" +
  "C58,162 54,145 51,131C49,152 44,168 43,186C43,204 50,218 53,236C56,262 55,292 50,322C47,338 45,348 45,360" +
  "C48,384 45,408 38,430C36,440 35,446 36,452C40,459 44,465 42,470L16,470C14,464 17,458 17,450C17,428 14,404 15,380" +
  "C16,368 17,360 16,350C13,322 7,290 3,250L0,247Z";

/** @type {Patch[]} */
export const FRONT = [
  { place: "shoulders", d: "M34,78H76V128H34Z", at: [56, 110] },
  { place: "elbows", d: "M54,166H92V200H54Z", at: [72, 186] },
  { place: "wrists", d: "M70,226H98V250H70Z", at: [84, 242] },
  { place: "hands", d: "M72,253H104V296H72Z", at: [90, 274] },
  { place: "hip", d: "M14,204H60V244L14,232Z", at: [33, 226] },
  { place: "perineum", d: "M0,236L14,238V262H0Z", at: [0, 252], middle: true },
  { place: "thigh front", d: "M15,246L60,250V320H0V262Z", at: [29, 288] },
  { place: "knee front", d: "M8,325H56V368H8Z", at: [30, 350] },
  { place: "ankle", d: "M10,428H46V452H10Z", at: [27, 445] },
  { place: "foot", d: "M8,455H50V474H8Z", at: [29, 467] },
];

/** @type {Patch[]} */
export const BACK = [
  { place: "neck", d: "M0,54H24V84H0Z", at: [0, 74], middle: true },
  { place: "upper back", d: "M0,87H46V148H0Z", at: [0, 122], middle: true },
  { place: "lower back", d: "M0,151H48V208H0Z", at: [0, 184], middle: true },
  { place: "sit bones", d: "M0,211H58V258H0Z", at: [27, 240] },
  { place: "hamstring", d: "M0,261H60V328H0Z", at: [30, 296] },
  { place: "knee back", d: "M8,331H56V366H8Z", at: [31, 352] },
  { place: "calf", d: "M8,369H52V428H8Z", at: [30, 400] },
];

/** A right palm as the rider sees it, the thumb to the right: wrist, palm, four fingers, thumb. */
export const PALM = [
  { x: -19, y: 104, width: 38, height: 40, rx: 8 },
  { x: -29, y: 56, width: 57, height: 66, rx: 18 },
  { x: 13, y: 10, width: 14, height: 70, rx: 7 },
  { x: -2, y: 1, width: 14, height: 74, rx: 7 },
  { x: -17, y: 7, width: 14, height: 70, rx: 7 },
  { x: -31, y: 24, width: 13, height: 60, rx: 6.5 },
  { x: 19, y: 44, width: 15, height: 62, rx: 7.5, transform: "rotate(32 27 102)" },
];

/** @type {Patch[]} */
export const PALMS = [
  { place: "thumb side", d: "M-3,-5H90V112H26V74H-3Z", at: [13, 52] },
  { place: "little finger side", d: "M-40,-5H-3V74H-14V124H-40Z", at: [-24, 62] },
  { place: "hands", d: "M-14,74H26V124H-14Z", at: [5, 102] },
];
