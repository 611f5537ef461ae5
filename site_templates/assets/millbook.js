"use strict";
// Small helps for reading. Every page says all it has to say without them.

// A link to a figure opens its working.
function openTarget() {
  let name = "";
  try {
    name = decodeURIComponent(location.hash.slice(1));
  } catch {
    return; // an address edited by hand names no figure
  }
  const target = name && document.getElementById(name);
  const fold = target && target.closest("details");
  if (fold) {
    for (let outer = fold; outer; outer = outer.parentElement?.closest("details")) outer.open = true;
    fold.classList.toggle("mb-read", fold.matches(".mb-figure"));
    target.scrollIntoView();
  }
}
addEventListener("hashchange", openTarget);
openTarget();

// The theme opens every fold for the printer. Of the figures only those whose working the reader opened show it on
// paper, where a hundred workings would bury the page; what was folded away otherwise is printed.
document.addEventListener("click", (event) => {
  const fold = event.target.closest(".mb-figure > summary")?.parentElement;
  if (fold) fold.classList.toggle("mb-read", !fold.open);
});
let opened = [];
addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll(".md-content details.mb-fold:not([open])")];
  for (const fold of opened) fold.open = true;
});
addEventListener("afterprint", () => {
  for (const fold of opened) fold.open = false;
  opened = [];
});

// A photo opens large in place; without a dialog the link simply leads to it.
const photos = [...document.querySelectorAll(".mb-photos a")];
if (photos.length && window.HTMLDialogElement) {
  const box = document.createElement("dialog");
  box.className = "mb-viewer";
  box.innerHTML =
    '<figure><img alt=""><figcaption></figcaption></figure><form method="dialog">' +
    '<button type="button" value="-1">Earlier photo</button><button type="button" value="1">Next photo</button>' +
    "<button>Close</button></form>";
  document.body.append(box);
  const [image, words] = [box.querySelector("img"), box.querySelector("figcaption")];
  const steps = [...box.querySelectorAll("button[value]")];
  let at = 0;
  const show = (index) => {
    at = (index + photos.length) % photos.length;
    const small = photos[at].querySelector("img");
    image.src = photos[at].href;
    image.alt = small ? small.alt : "";
    const caption = photos[at].closest("figure")?.querySelector("figcaption");
    words.textContent = `${caption ? caption.textContent.trim() : image.alt} (${at + 1} of ${photos.length})`;
  };
  photos.forEach((link, index) =>
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      show(index);
      for (const step of steps) step.hidden = photos.length < 2;
      box.showModal();
    }),
  );
  for (const step of steps) step.addEventListener("click", () => show(at + Number(step.value)));
  box.addEventListener("keydown", (event) => {
    if (event.key === "ArrowLeft") show(at - 1);
    if (event.key === "ArrowRight") show(at + 1);
  });
  box.addEventListener("click", (event) => {
    if (event.target === box) box.close();
  });
  box.addEventListener("close", () => photos[at].focus());
}

// A box that scrolls sideways can be reached by the keyboard, one that does not is no stop on the way. Boxes are
// looked at when the browser has laid them out, so that those far down or folded away cost nothing.
if (window.ResizeObserver) {
  const sized = new ResizeObserver((entries) => {
    const boxes = [...new Set(entries.map(({ target }) => target.closest(".mb-scroll")))];
    const wide = boxes.map((box) => box.scrollWidth > box.clientWidth + 1);
    boxes.forEach((box, index) => {
      if (wide[index]) box.tabIndex = 0;
      else box.removeAttribute("tabindex");
    });
  });
  // What is in a box may grow without the box.
  for (const part of document.querySelectorAll(".mb-scroll, .mb-scroll > *")) sized.observe(part);
}

// On a narrow screen the search opens over the page.
for (const loupe of document.querySelectorAll(".mb-search-open")) {
  loupe.addEventListener("click", () => {
    document.getElementById("__search").click();
    document.querySelector(".md-search__input").focus();
  });
}

// One button turns the page from light to dark and back; the theme remembers it.
for (const button of document.querySelectorAll(".mb-light")) {
  button.addEventListener("click", () => {
    const now = document.body.dataset.mdColorScheme;
    document.querySelector(`[name="__palette"]:not([data-md-color-scheme="${now}"])`).click();
  });
}
