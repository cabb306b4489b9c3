// Figures for people: units always, a true minus sign, a dash for what is unknown.

export const NONE = "–";

/** A number with so many decimals and its unit. */
export function figure(value, decimals, unit) {
  if (value == null) return NONE;
  const text = Math.abs(value).toFixed(decimals);
  const sign = value < 0 && Number(text) !== 0 ? "−" : "";
  const gap = unit === "°" ? "" : "\u00a0"; // never parted from its unit at a line's end
  return sign + text + (unit ? gap + unit : "");
}

/** An angle, to a hundredth of a degree. */
export const angle = (deg) => figure(deg, 2, "°");

/** µs as the unit that reads best. */
export function micros(us) {
  if (us == null) return NONE;
  const size = Math.abs(us);
  if (size < 1000) return figure(us, 0, "µs");
  return size < 1e6 ? figure(us / 1000, size < 1e4 ? 1 : 0, "ms") : figure(us / 1e6, 2, "s");
}

/** Seconds as minutes and seconds. */
export function clockTime(s) {
  if (s == null) return NONE;
  const whole = Math.max(0, Math.round(s));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** How old something is. */
export function old(s) {
  if (s == null) return "never heard";
  if (s < 10) return `${figure(s, s < 1 ? 2 : 1, "s")} old`;
  return s < 120 ? `${figure(s, 0, "s")} old` : `${figure(s / 60, 0, "min")} old`;
}

/** Local time of day of an instant of arm time, given arm time now. */
export function timeOfDay(atUs, nowUs) {
  return dayTime(new Date(Date.now() - (nowUs - atUs) / 1000));
}

/** Time of day with seconds, 24 hours. */
export function dayTime(date) {
  return [date.getHours(), date.getMinutes(), date.getSeconds()]
    .map((part) => String(part).padStart(2, "0")).join(":");
}

/** Names in a sentence. */
export const listed = (names) =>
  names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
