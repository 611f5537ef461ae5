"use strict";
// The search and the sorting of the table of parts; without it the table is complete.
for (const box of document.querySelectorAll(".mb-parts")) {
  const body = box.querySelector("tbody");
  const rows = [...body.rows];
  const texts = new Map(rows.map((row) => [row, row.textContent.toLowerCase()]));

  const input = box.querySelector("input");
  const count = box.querySelector("output");

  function filter() {
    const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const row of rows) row.hidden = !words.every((word) => texts.get(row).includes(word));
    count.textContent = `${rows.filter((row) => !row.hidden).length} of ${rows.length} parts`;
  }
  input.addEventListener("input", filter);
  if (input.value) filter();

  const heads = [...box.querySelectorAll("thead th")];
  heads.forEach((head, index) => {
    const isNumber = head.classList.contains("n");
    const value = (row) => row.cells[index].textContent.trim();
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => {
      const descending = head.getAttribute("aria-sort") ? head.getAttribute("aria-sort") === "ascending" : isNumber;
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", descending ? "descending" : "ascending");
      const compare = (a, b) => isNumber ? value(a) - value(b) : value(a).localeCompare(value(b), "en", { numeric: true });
      rows.sort((a, b) => (descending ? -1 : 1) * compare(a, b));
      body.append(...rows);
    });
    head.replaceChildren(button);
  });
}
