// A tap on a station of a drawing says where a stretch begins, the next tap where it ends, in the
// fields `first` and `last` of the form around it: what was typed beside stays.

export function stretchOnMap(form) {
  const { first, last } = form.elements;
  const links = [...form.querySelectorAll("svg a[href*='first=']")];
  const nameOf = (link) => {
    const query = new URL(link.href.baseVal, location.href).searchParams;
    return query.get("last") || query.get("first");
  };
  for (const link of links) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const begun = first.value && !last.value;
      (begun ? last : first).value = nameOf(link);
      if (!begun) last.value = "";
      const ends = [first.value, last.value];
      for (const other of links) other.classList.toggle("picked", ends.includes(nameOf(other)));
    });
  }
}
