// Settings of this tablet: keys, hand, order, sheet, voice.
import { ask } from "./dom.js";

export async function askSettings(tablet) {
  const { settings } = tablet;
  const asking = ask("set");
  fill(document.querySelector("dialog form").elements, settings);
  const { value, ...chosen } = (await asking) ?? {};
  if (!value) return;
  const { order } = settings;
  await tablet.keep({ aloud: false, ...chosen });
  if (order !== settings.order) tablet.show();
}

function fill(fields, settings) {
  for (const [name, value] of Object.entries(settings)) if (fields[name]) fields[name][fields[name].type === "checkbox" ? "checked" : "value"] = value;
}
