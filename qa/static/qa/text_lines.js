// Numbers the lines of the stations' text, and lets each complaint lead to its line. Without this a
// complaint still says its line and shows what stands there.

const text = document.getElementById("id_stations");
const links = [...document.querySelectorAll("a[data-line]")];
if (text) numberLines(text, new Set(links.map((link) => Number(link.dataset.line))));
for (const link of links) {
  link.addEventListener("click", (event) => {
    event.preventDefault();
    selectLine(text, Number(link.dataset.line));
  });
}

function numberLines(area, bad) {
  const box = document.createElement("div");
  const numbers = document.createElement("div");
  box.className = "with-lines";
  numbers.className = "lines";
  numbers.setAttribute("aria-hidden", "true");
  area.replaceWith(box);
  box.append(numbers, area);
  const fill = () => {
    const count = area.value.split("\n").length;
    while (numbers.children.length > count) numbers.lastChild.remove();
    while (numbers.children.length < count) {
      const line = document.createElement("span");
      line.textContent = numbers.children.length + 1;
      line.classList.toggle("bad", bad.has(numbers.children.length + 1));
      numbers.append(line);
    }
    follow();
  };
  const follow = () => {
    numbers.style.height = `${area.offsetHeight}px`;
    numbers.scrollTop = area.scrollTop;
  };
  area.addEventListener("input", fill);
  area.addEventListener("scroll", follow);
  new ResizeObserver(follow).observe(area);
  fill();
}

function selectLine(area, number) {
  const lines = area.value.split("\n");
  const before = lines.slice(0, number - 1).join("\n").length;
  const start = number > 1 ? before + 1 : 0;
  area.scrollIntoView({ block: "center" });
  area.focus({ preventScroll: true });
  area.setSelectionRange(start, start + (lines[number - 1] ?? "").length);
  area.scrollTop = (area.scrollHeight / lines.length) * Math.max(0, number - 4);
}
