// Keys: j or → next, k or ← back, l to the look; there y yes, n no, s not shown, Enter saves. Without it all is links
// and forms.
"use strict";
(() => {
  const look = document.querySelector("form[data-keys]");
  const questions = look ? [...look.querySelectorAll("fieldset")] : [];
  const open = () => questions.find((one) => !one.querySelector("input:checked"));
  const told = { y: "yes", n: "no", s: "not shown" };
  const follow = (way) => { const link = document.querySelector(`a[data-key="${way}"]`); if (link) link.click(); };

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const at = event.target;
    const typing = at.matches && (at.matches("textarea, select, pre, input:not([type=radio])"));
    if (typing) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const inside = at.closest ? at.closest("fieldset") : null;
    const question = questions.includes(inside) ? inside : open();
    if (question && told[key]) {
      const choice = question.querySelector(`input[value="${told[key]}"]`);
      choice.checked = true;
      const next = questions[questions.indexOf(question) + 1];
      (next ? next.querySelector("input:checked") || next.querySelector("input") : choice).focus();
      event.preventDefault();
    } else if (questions.includes(inside) && key === "Enter") {
      look.requestSubmit();
      event.preventDefault();
    } else if (key === "j" || (!inside && key === "ArrowRight")) follow("next");
    else if (key === "k" || (!inside && key === "ArrowLeft")) follow("back");
    else if (key === "l" && questions.length) { (open() || questions[0]).querySelector("input").focus(); event.preventDefault(); }
  });
})();
