// Every key that this page obeys itself. Handlers ask this table, and people read it: so it is true.

export const KEYS = {
  help: { keys: ["?"], where: "anywhere but in a text", does: "opens and closes this list" },
  close: { keys: ["Escape"], where: "while this list is open", does: "closes it" },
  smaller: { keys: ["ArrowLeft"], where: "in a joint's jog controls", does: "turns it to smaller angles" },
  larger: { keys: ["ArrowRight"], where: "in a joint's jog controls", does: "turns it to larger angles" },
  turn: { keys: ["Enter", " "], where: "on one of its two buttons", does: "turns it that way" },
  pushLess: { keys: ["ArrowLeft", "ArrowDown"], where: "on its slider", does: "pushes it to smaller angles, the longer the faster" },
  pushMore: { keys: ["ArrowRight", "ArrowUp"], where: "on its slider", does: "pushes it to larger angles, the longer the faster" },
  goTo: { keys: ["Enter", " "], where: "on Hold to go or to home", does: "while it is held, the arm goes there, or the joint homes" },
  earlier: { keys: ["ArrowUp"], where: "on a visit's place number", does: "moves it to an earlier place" },
  later: { keys: ["ArrowDown"], where: "on a visit's place number", does: "moves it to a later place" },
  record: { keys: ["r"], where: "on Teach, but not in a text", does: "records the place where the arm stands" },
  zoomIn: { keys: ["+"], where: "on History's charts", does: "shows half the time" },
  zoomOut: { keys: ["-"], where: "on History's charts", does: "shows twice the time" },
  before: { keys: ["ArrowLeft"], where: "on History's charts", does: "goes earlier" },
  after: { keys: ["ArrowRight"], where: "on History's charts", does: "goes later" },
  resume: { keys: ["Enter", " "], where: "on Resume", does: "kept pressed for a second, resumes; shorter, asks first" },
};

const SHOWN = { " ": "Space", ArrowLeft: "←", ArrowRight: "→", ArrowDown: "↓", ArrowUp: "↑", Escape: "Esc" };

/** Whether an event is of a key that does what the table's row `name` says. */
export const isKey = (name, event) => KEYS[name].keys.includes(event.key);

/** A row's keys as people call them. */
export const shown = (row) => row.keys.map((key) => SHOWN[key] ?? key);

/** Whether with an event goes a key that makes something else of it, of the browser or system. */
export const isAltered = (event) => event.altKey || event.ctrlKey || event.metaKey;
