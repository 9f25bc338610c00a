// @ts-check
/** Ids of entries, made here so that a retry after a lost answer writes nothing twice. UUID version 7 (RFC 9562): time first, then chance. */

/** @param {number} now milliseconds since 1970 @param {Uint8Array} chance ten random bytes @returns {string} */
export function uuid7(now, chance) {
  const bytes = new Uint8Array(16);
  let ms = Math.floor(now);
  for (let i = 5; i >= 0; i--) {
    bytes[i] = ms % 256;
    ms = Math.floor(ms / 256);
  }
  bytes.set(chance.subarray(0, 10), 6);
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, '0')).join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}

/** A fresh id. */
export const freshId = () => uuid7(Date.now(), crypto.getRandomValues(new Uint8Array(10)));
