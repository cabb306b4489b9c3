// The file of a signed image, as far as a page can tell: what its header says (protocol/README.md, "Update").

const LABEL = "unisono.image.v1";
const HEADER = 100;
const SIGNATURE = 64;

/** What a chosen file is: { board, firmware, size }, or { mistake }, a sentence. */
export async function imageIn(file) {
  const bytes = new Uint8Array(await file.slice(0, HEADER).arrayBuffer());
  if (bytes.length < HEADER || text(bytes, 0, 16) !== LABEL) {
    return { mistake: `${file.name} is no signed image; unisono joint sign makes one.` };
  }
  const size = new DataView(bytes.buffer).getUint32(64);
  const whole = HEADER + SIGNATURE + size;
  if (file.size !== whole) {
    const how = file.size < whole ? "cut" : "too long";
    return { mistake: `${file.name} is ${how}, or its header is damaged: it has ${file.size} bytes, by its header ${whole}.` };
  }
  return { board: text(bytes, 16, 16), firmware: text(bytes, 32, 32), size };
}

const text = (bytes, from, length) =>
  String.fromCharCode(...bytes.subarray(from, from + length)).replace(/\0+$/, "");
