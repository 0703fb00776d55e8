// The inbox of an import is worked by keyboard: a number chooses, W writes, Enter takes, L leaves the row for later.
const inbox = document.querySelector("[data-inbox]");
const questions = inbox ? [...inbox.querySelectorAll(".question")] : [];
const isAnswered = (question) => question.querySelector(":checked") || question.querySelector(".written input").value.trim();

function choose(number) {
  const inFocus = questions.find((question) => question.contains(document.activeElement));
  const question = (inFocus && !isAnswered(inFocus) && inFocus) || questions.find((each) => !isAnswered(each)) || inFocus || questions[0];
  const choice = question.querySelectorAll("input[type=radio]")[number - 1];
  if (!choice) return;
  choice.checked = true;
  choice.focus();
}

document.addEventListener("keydown", (event) => {
  if (!inbox || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.target.matches("input:not([type=radio]), textarea, select")) return;
  const key = event.key.toLowerCase();
  if (/^[1-9]$/.test(key)) choose(Number(key));
  else if (key === "w") (questions.find((each) => !isAnswered(each)) || questions[0])?.querySelector(".written input").focus();
  else if (key === "l") inbox.querySelector("[data-later]").click();
  else if (key === "enter" && !event.target.matches("button, a, summary")) inbox.requestSubmit(inbox.querySelector(".button.main"));
  else return;
  event.preventDefault();
});
