// What is asked of the archive: words, ranges, choices and a planned combination, as form fields.
(function () {
  "use strict";

  const { core } = globalThis.millbook;

  // Make an element: el("p", {class: "x", text: "y"}, child, ...). Text only ever becomes text.
  function el(tag, props, ...children) {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(props || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (key === "text") node.textContent = value;
      else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else node.setAttribute(key, value === true ? "" : value);
    }
    node.append(...children.filter((child) => child !== null && child !== undefined));
    return node;
  }

  const sentence = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
  let last = 0;
  const unique = () => "mb-finder-" + ++last;

  function withUnit(field, system) {
    const unit = core.unitOf(field, system).label;
    return unit ? `${field.title}, ${unit}` : field.title;
  }

  // Least and most of a field in the archive, as hints of what to type.
  function reach(field, system) {
    return field.known ? field.reach.map((v) => core.showNumber(field, v, system)) : ["", ""];
  }

  function rangeField(archive, field, state, changed) {
    const hints = reach(field, state.system);
    const note = el("p", { class: "mb-finder-wrong", id: unique(), hidden: true });
    const ends = ["at least", "at most"].map((word, end) => el("input", {
      type: "text", inputmode: "decimal", autocomplete: "off", placeholder: hints[end],
      "aria-label": `${withUnit(field, state.system)}, ${word}`, "aria-describedby": note.id,
      oninput: (event) => {
        const texts = state.ranges[field.slug] || ["", ""];
        texts[end] = event.target.value.slice(0, 30);
        state.ranges[field.slug] = texts;
        changed("filter");
      },
    }));
    const node = el("fieldset", { class: "mb-finder-range" },
      el("legend", { text: withUnit(field, state.system) }), ends[0], el("span", { "aria-hidden": "true", text: "to" }), ends[1], note);
    return {
      node,
      show(wrong) {
        const texts = state.ranges[field.slug] || ["", ""];
        ends.forEach((input, end) => {
          if (input.value !== texts[end]) input.value = texts[end];
          input.setAttribute("aria-invalid", String(Boolean(wrong && wrong[end])));
        });
        const [least, most] = texts.map(core.typed);
        const turned = least !== null && most !== null && least > most;
        note.textContent = wrong ? "Not a number, so it is left out." : turned ? "The least is above the most." : "";
        note.hidden = !note.textContent;
        return texts.some((text) => text.trim());
      },
    };
  }

  function choiceField(archive, field, state, changed) {
    const count = new Map();
    for (const code of archive.codes[field.slug]) count.set(code, (count.get(code) || 0) + 1);
    const boxes = archive.choices[field.slug].map((label, code) => {
      const box = el("input", { type: "checkbox", value: label, onchange: () => {
        state.choices[field.slug] = boxes.filter((b) => b.box.checked).map((b) => b.label);
        changed("filter");
      } });
      const node = el("label", {}, box, el("span", { text: label }), el("small", { text: String(count.get(code) || 0) }));
      return { box, label, node };
    });
    const node = el("fieldset", { class: "mb-finder-choice" }, el("legend", { text: field.title }),
      el("div", { class: "mb-finder-boxes" }, ...boxes.map((b) => b.node)));
    return {
      node,
      show() {
        const wanted = state.choices[field.slug] || [];
        for (const { box, label } of boxes) box.checked = wanted.includes(label);
        return wanted.length > 0;
      },
    };
  }

  function planField(archive, field, state, changed) {
    const id = unique();
    const note = el("p", { class: "mb-finder-wrong", id: unique(), hidden: true, text: "Not a usable number, so it is left out." });
    const take = (event) => {
      state.plan[field.slug] = event.target.value.slice(0, 60);
      changed("plan");
    };
    let input;
    if (field.kind === "choice") {
      input = el("select", { id, onchange: take }, el("option", { value: "", text: "not decided" }),
        ...archive.choices[field.slug].map((label) => el("option", { value: label, text: label })));
    } else {
      input = el("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", oninput: take,
        placeholder: reach(field, state.system).join("–"), "aria-describedby": note.id });
    }
    const node = el("div", { class: "mb-finder-plan" }, el("label", { for: id, text: withUnit(field, state.system) }), input, note);
    return {
      node,
      show(wrong) {
        const text = state.plan[field.slug] || "";
        if (field.kind === "choice" && text && !archive.choices[field.slug].includes(text)) {
          // An address may plan what no build has: it stays a plan.
          input.append(el("option", { value: text, text }));
        }
        if (input.value !== text) input.value = text;
        input.setAttribute("aria-invalid", String(Boolean(wrong)));
        note.hidden = !wrong;
        return Boolean(text.trim());
      },
    };
  }

  // Fields in folding groups; each summary says how many of its fields are in use.
  function groups(archive, fields, open, make) {
    const names = [...new Set(fields.map((f) => f.group))];
    return names.map((name) => {
      const members = fields.filter((f) => f.group === name).map((f) => ({ field: f, ...make(f) }));
      const used = el("small", {});
      const fold = el("details", { class: "mb-finder-group", open: open.includes(name) },
        el("summary", {}, el("span", { text: sentence(name) }), used), ...members.map((m) => m.node));
      return {
        node: fold,
        show(wrong) {
          const count = members.map((m) => m.show(wrong[m.field.slug])).filter(Boolean).length;
          used.textContent = count ? `${count} set` : "";
          if (count && !fold.open && !fold.dataset.touched) fold.open = true;
          fold.dataset.touched = "yes";
        },
      };
    });
  }

  // The whole form. `changed(what)` is called with "filter", "plan" or "units"; `show()` writes the state
  // back into the fields.
  function form(archive, state, changed, wide) {
    const words = el("input", { type: "search", id: unique(), autocomplete: "off", placeholder: "name, part, note",
      oninput: (event) => {
        state.words = event.target.value.slice(0, 200);
        changed("filter");
      } });
    const radios = ["inch", "metric"].map((system) => {
      const input = el("input", { type: "radio", name: "mb-finder-units", value: system, onchange: () => changed("units", system) });
      return { system, input, node: el("label", {}, input, el("span", { text: sentence(system) })) };
    });
    const place = { narrow: el("div", {}), plan: el("div", {}) };
    let parts = { narrow: [], plan: [] };
    const known = archive.fields.filter((f) => f.known);

    // The plan's fields can wait until the table is seen, unless something is planned already.
    let waiting = 0;
    function fields() {
      parts = { narrow: groups(archive, known, wide ? ["bottom end", "breathing"] : [], (f) =>
        (f.kind === "number" ? rangeField : choiceField)(archive, f, state, changed)), plan: [] };
      place.narrow.replaceChildren(...parts.narrow.map((p) => p.node));
      clearTimeout(waiting);
      if (Object.keys(state.plan).length) planFields();
      else waiting = setTimeout(planFields, 60);
    }
    function planFields() {
      parts.plan = groups(archive, known.filter((f) => f.weight > 0 && f.group !== "result"), ["bottom end"], (f) =>
        planField(archive, f, state, changed));
      place.plan.replaceChildren(...parts.plan.map((p) => p.node));
    }
    fields();

    const planned = Object.values(state.plan).some((text) => text.trim());
    const narrowFold = el("details", { class: "mb-finder-section", open: wide && !planned },
      el("summary", {}, el("h2", { text: "Narrow the list" })), place.narrow);
    const planFold = el("details", { class: "mb-finder-section", open: wide && planned },
      el("summary", {}, el("h2", { text: "Plan an engine" })),
      el("p", { class: "mb-finder-quiet", text: "Write down what is decided and leave the rest. The builds are put in order of likeness, with what differs and what it might make." }),
      place.plan);
    const clear = el("button", { type: "button", class: "mb-finder-button", text: "Clear everything", onclick: () => changed("clear") });
    const node = el("form", { class: "mb-finder-ask", role: "search", "aria-label": "Builds", onsubmit: (event) => event.preventDefault() },
      el("div", { class: "mb-finder-words" }, el("label", { for: words.id, text: "Words" }), words),
      el("fieldset", { class: "mb-finder-units" }, el("legend", { text: "Units" }), ...radios.map((r) => r.node)),
      narrowFold, planFold, clear);

    return {
      node,
      fields,
      show(wrongRanges, wrongPlan) {
        if (words.value !== state.words) words.value = state.words;
        for (const { system, input } of radios) input.checked = system === state.system;
        for (const part of parts.narrow) part.show(wrongRanges);
        for (const part of parts.plan) part.show(wrongPlan);
      },
    };
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { form: { el, form, withUnit, sentence } });
})();
