// The stretch of time that is looked at, in Unix time: pure, and told in words.

export const HOUR_S = 3600;
export const DAY_S = 24 * HOUR_S;
const LEAST_S = 60;
const MOST_S = 40 * 365 * DAY_S;
const FIRST_S = 0; // 1970, before which nothing can be asked for
const LAST_S = 7_258_118_400; // 2200

export const SPANS = [["hour", HOUR_S], ["day", DAY_S], ["week", 7 * DAY_S], ["month", 30 * DAY_S],
  ["year", 365 * DAY_S]];

/** The last so many seconds. What follows moves on with the time. */
export const last = (s, nowS) => ({ from: nowS - s, to: nowS, follows: true });

export const lengthOf = (span) => span.to - span.from;

/** From one instant to another, in whole seconds and within what can be asked for. */
export function between(from, to) {
  const middle = (from + to) / 2;
  const half = Math.min(MOST_S, Math.max(LEAST_S, to - from)) / 2;
  const begin = Math.max(FIRST_S, Math.round(middle - half));
  return { from: begin, to: Math.min(LAST_S, Math.max(begin + LEAST_S, Math.round(middle + half))), follows: false };
}

/** Half of it, or twice as much, about its middle; what follows keeps its end. */
export function zoomed(span, factor) {
  const length = lengthOf(span) * factor;
  if (span.follows) return last(Math.min(MOST_S, Math.max(LEAST_S, length)), span.to);
  const middle = (span.from + span.to) / 2;
  return between(middle - length / 2, middle + length / 2);
}

/** As long, half of it later (or earlier, below zero); no later than now, with which it then moves on. */
export function moved(span, halves, nowS) {
  const by = (halves * lengthOf(span)) / 2;
  if (span.to + by >= nowS) return last(lengthOf(span), nowS);
  return between(span.from + by, span.to + by);
}

/** What follows, up to now. */
export const upTo = (span, nowS) => (span.follows ? last(lengthOf(span), nowS) : span);

const two = (number) => String(number).padStart(2, "0");
const day = (at) => `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
const time = (at) => `${two(at.getHours())}:${two(at.getMinutes())}`;

/** An instant in local time, as finely as a stretch of that length needs it. */
export function instant(s, lengthS) {
  const at = new Date(s * 1000);
  if (lengthS > 10 * DAY_S) return day(at);
  const exact = lengthS < HOUR_S ? `${time(at)}:${two(at.getSeconds())}` : time(at);
  return lengthS > DAY_S / 2 ? `${day(at)} ${exact}` : exact;
}
