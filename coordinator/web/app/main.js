import { html, render } from "htm/preact";

render(html`<h1>Unisono</h1>`, document.getElementById("page"));
