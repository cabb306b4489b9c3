// A program kept under a name: written over, renamed, deleted, and as it was before.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { draft } from "./draft.js";
import { Press } from "./press.js";
import { Versions } from "./versions.js";

/** `program` is what stands in the field; `change(some)` changes members of what stands there then. */
export function Keeping({ taught, program, kept, change, gone, act }) {
  const add = async () => {
    const { name, text } = draft();
    const known = new Set(taught.now.programs.map((one) => one.id));
    if (!await taught.edit({ type: "keep-program", name, text }, `${name} is kept.`)) return;
    const added = taught.now.programs.find((one) => !known.has(one.id));
    // Whoever has typed on or taken another one meanwhile keeps what stands there.
    if (added && draft().text === text && draft().name === name) {
      change({ name: added.name, kept: added.id, sha256: added.sha256, changed: false });
    }
  };
  const write = async () => {
    const { text, sha256 } = draft();
    const edit = { type: "keep-program", program: kept.id, text, instead_of: sha256 };
    if (!await taught.edit(edit, `${kept.name} is kept with this text.`)) return;
    const now = taught.now.programs.find((one) => one.id === kept.id);
    if (now && draft().kept === kept.id) change({ sha256: now.sha256, changed: draft().text !== text });
  };
  // Whoever has read that another text is there may write over it.
  const anyway = () => {
    change({ sha256: kept.sha256 });
    write();
  };
  const rename = () =>
    taught.edit({ type: "rename-program", program: kept.id, name: draft().name }, "The program has another name.");
  const off = gone || taught.now === null || !program.text.trim();
  const name = program.name.trim();
  const isOther = kept !== null && kept.sha256 !== program.sha256;
  return html`
    ${isOther && html`<p class="bad" role="status">${kept.name} was kept with another text since you took it.
      ${" "}<${Press} name="plain" off=${off} press=${anyway}>Keep this one all the same<//></p>`}
    <div class="row">
      ${kept && html`<${Press} off=${off || isOther || !program.changed} press=${write}>Keep as ${kept.name}<//>`}
      ${kept && html`<${Press} off=${off || name === kept.name || !name} press=${rename}>Rename ${kept.name}<//>`}
      <${Press} off=${off || !name || name === kept?.name} press=${add}>Keep as new<//>
      <${Press} off=${!program.text.trim()} press=${save}>To a file<//>
      ${kept && html`<${Delete} key=${kept.id} taught=${taught} kept=${kept} change=${change} gone=${gone} />`}
    </div>
    ${kept && html`<${Versions} key=${kept.id} changes=${(before, most) => taught.changes(kept.id, before, most)}
      text=${(at) => taught.text(kept.id, at)} now=${program.text} revision=${taught.now.revision}
      restore=${(text) => change({ text, changed: true })} gone=${gone} act=${act} />`}`;
}

function Delete({ taught, kept, change, gone }) {
  const [sure, setSure] = useState(false);
  const remove = async () => {
    setSure(false);
    const gone = await taught.edit({ type: "delete-program", program: kept.id }, "Deleted. Undo on Teach brings it back.");
    if (gone && draft().kept === kept.id) change({ kept: null, sha256: null });
  };
  if (!sure) return html`<${Press} off=${gone} press=${() => setSure(true)}>Delete…<//>`;
  return html`
    <${Press} name="grave" off=${gone} press=${remove}>Delete ${kept.name}<//>
    <button class="plain" onClick=${() => setSure(false)}>Leave it</button>`;
}

function save() {
  const { name, text } = draft();
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
  link.download = `${name.replace(/\.\w+$/, "").replace(/[^\w-]+/g, "_") || "program"}.nc`;
  link.click();
  URL.revokeObjectURL(link.href);
}
