// A tap on a thing of a drawing writes its name into the field `place` of the form around it. The
// links of the drawing lead to the page with that name written; what was typed beside would be lost.

export function placeOnMap(form) {
  const field = form.elements.place;
  for (const link of form.querySelectorAll("svg a[href*='place=']")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      field.value = new URL(link.href.baseVal, location.href).searchParams.get("place");
      for (const other of form.querySelectorAll("svg a.picked")) other.classList.remove("picked");
      link.classList.add("picked");
    });
  }
}
