// Filters, sorts and copies. Without this script everything is there to read, in the order of the ranking.
"use strict";
(() => {
  const status = document.getElementById("told");
  const tell = (text) => { if (status) status.textContent = text; };

  // Copy: the clipboard where it can be had, else the selection, which the reader can copy by hand.
  const select = (node) => {
    const range = document.createRange();
    range.selectNodeContents(node);
    const selection = getSelection();
    selection.removeAllRanges();
    selection.addRange(range);
  };
  const copy = async (node) => {
    try { await navigator.clipboard.writeText(node.textContent); return true; } catch {
      select(node);
      return document.execCommand("copy");
    }
  };
  for (const button of document.querySelectorAll("button[data-copy]")) {
    const label = button.textContent;
    button.hidden = false;
    button.addEventListener("click", async () => {
      const done = await copy(document.getElementById(button.dataset.copy));
      button.textContent = done ? "Copied" : "Selected: copy it by hand";
      tell(button.textContent);
      setTimeout(() => { button.textContent = label; }, 2000);
    });
  }

  const form = document.getElementById("sieve");
  if (!form) return;
  const all = [...document.querySelectorAll("[data-call]")];
  const places = new Map(all.map((node, at) => [node, at]));
  const lists = [...new Set(all.map((node) => node.parentNode))];
  const entries = new Map([...document.querySelectorAll("nav [data-for]")].map((node) => [node.dataset.for, node]));
  const folds = new Map([...document.querySelectorAll("details[data-fold]")].map((node) => [node, node.open]));
  const low = (text) => (text || "").toLocaleLowerCase();
  const pieces = (text) => (low(text).match(/\d+(?:[.,]\d+)?|[½⅓⅔]|\p{L}+/gu) || []).map((one) => one.replace(",", "."));
  const number = (text) => (text === "" || text === undefined ? NaN : Number(text));

  const wanted = () => {
    const { call, buyer, size, model, price } = form.elements;
    const sizes = pieces(size.value);
    const words = low(model.value).split(/\s+/).filter(Boolean);
    const most = number(price.value);
    return (node) => {
      const own = node.dataset;
      const sized = pieces(own.size);
      const named = low(own.model + " " + own.title);
      return (!call.value || own.call === call.value)
        && (!buyer.value || own.buyers.split("|").includes(buyer.value))
        && sizes.every((one) => sized.includes(one))
        && words.every((word) => named.includes(word))
        && (Number.isNaN(most) || number(own.price) <= most);
    };
  };
  const orders = {
    rank: () => 0,
    cheap: (a, b) => last(number(a.price)) - last(number(b.price)),
    dear: (a, b) => last(-number(a.price)) - last(-number(b.price)),
    size: (a, b) => last(number(a.foot)) - last(number(b.foot)),
    model: (a, b) => (a.model ? 0 : 1) - (b.model ? 0 : 1) || a.model.localeCompare(b.model, "en"),
  };
  const last = (value) => (Number.isNaN(value) ? 1e12 : value); // what is not known comes last

  const apply = () => {
    const keep = wanted();
    const order = orders[form.elements.sort.value];
    const filtered = ["call", "buyer", "size", "model", "price"].some((name) => form.elements[name].value);
    let shown = 0;
    for (const node of all) {
      const kept = keep(node);
      node.hidden = !kept;
      const entry = entries.get(node.id);
      if (entry) entry.hidden = !kept;
      shown += kept;
    }
    for (const list of lists) {
      const own = [...list.children].filter((node) => places.has(node));
      own.sort((a, b) => order(a.dataset, b.dataset) || places.get(a) - places.get(b));
      list.append(...own);
    }
    // What is found in a fold must be seen.
    for (const [fold, open] of folds) fold.open = filtered ? fold.querySelector("[data-call]:not([hidden])") !== null : open;
    tell(filtered ? `${shown} of ${all.length} shown here` : `all ${all.length} shown here`);
  };
  form.hidden = false;
  form.addEventListener("input", apply);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(apply));
})();
