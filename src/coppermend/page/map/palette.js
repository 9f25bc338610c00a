// @ts-check
/**
 * Colours of the board and of what is laid over it. The two tips differ in shape (triangle, ring) and in lightness and hue
 * along the yellow-cyan axis, which the common colour deficiencies keep apart. Every finding also has its own line pattern.
 */

const MASKS = {
  green: { mask: '#1c5739', copper: '#3a8a5f', edge: '#123a26' },
  blue: { mask: '#1d4a70', copper: '#30648f', edge: '#123350' },
  red: { mask: '#7a2622', copper: '#96413a', edge: '#551916' },
  black: { mask: '#24262a', copper: '#3a3d43', edge: '#121315' },
  white: { mask: '#dfddd3', copper: '#c9c5b4', edge: '#a9a593' },
  none: { mask: '#b79d62', copper: '#b87a45', edge: '#7d6a3f' },
};

/** @param {string} name */
export function maskColours(name) {
  return MASKS[/** @type {keyof MASKS} */ (name)] ?? MASKS.green;
}

export const BOARD = {
  laminate: '#b09a62',
  tin: '#cfd0c6',
  tinShade: '#a8aaa0',
  copper: '#c58650',
  hole: '#17130f',
  silk: '#ece9d8',
  chip: '#29282b',
  chipEdge: '#48464b',
  chipText: '#dcd7ca',
  chipFaint: '#9a948a',
  socket: '#77614a',
  socketEdge: '#a08768',
  ghost: 'rgba(236,233,216,0.32)',
  plain: 'rgba(24,22,20,0.55)',
};

export const MARK = {
  a: '#ffc02e',
  b: '#6fe0ff',
  dark: '#14110e',
  net: '#fff3c4',
  netFar: '#ffe08a',
  veil: 'rgba(16,14,11,0.52)',
  proven: '#c9f7de',
  risk: '#ffd089',
  unprovable: '#e3c9ff',
  span: '#ff6a3d',
  spanDark: '#4a1200',
  wire: '#f4f0e6',
  wireCore: '#e8742c',
  area: { rework: '#ffd9a0', corrosion: '#b8e8c0', impact: '#e5d0ff' },
};
