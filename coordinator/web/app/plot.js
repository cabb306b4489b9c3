// What charts have in common: they are as wide as their place and go with it, in the page's colours.

import { useEffect } from "preact/hooks";
import uPlot from "uplot";

export const FONT = '11px "DejaVu Sans", system-ui, sans-serif';

/** A colour of style.css. */
export const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** An axis as all have it; more makes it one's own. */
export const axisOf = (more) => ({ stroke: token("--soft"), font: FONT, grid: { stroke: token("--line") }, ticks: { show: false }, ...more });

/** A chart in a place (a ref), drawn anew when one of `inputs` is another one; `made` gives its options and data. */
export function usePlot(place, inputs, made) {
  useEffect(() => {
    const width = () => place.current.clientWidth;
    const { options, data } = made();
    const chart = new uPlot({ ...options, width: width() }, data, place.current);
    const fit = () => chart.setSize({ width: width(), height: options.height });
    addEventListener("resize", fit);
    return () => {
      removeEventListener("resize", fit);
      chart.destroy();
    };
  }, inputs);
}
