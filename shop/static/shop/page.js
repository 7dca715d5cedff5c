// Wires behavior to elements that ask for it with data-module; every page works without it.
import { focusSummary } from "./error_summary.js";
import { pickOnMap } from "./pick_on_map.js";
import { placeOnMap } from "./place_on_map.js";
import { sendOnce } from "./send_once.js";
import { slashToSearch } from "./search_key.js";
import { stretchOnMap } from "./stretch_on_map.js";

const MODULES = {
  "error-summary": focusSummary,
  "pick-on-map": pickOnMap,
  "place-on-map": placeOnMap,
  "stretch-on-map": stretchOnMap,
  "send-once": sendOnce,
  "search-key": slashToSearch,
};

for (const element of document.querySelectorAll("[data-module]")) {
  for (const name of element.dataset.module.split(" ")) {
    MODULES[name]?.(element);
  }
}
