// A small dialog to change one's own password.

import { askJson } from "./api.js";

export function askPassword(state) {
  const dialog = document.createElement("dialog");
  dialog.id = "password";
  dialog.setAttribute("aria-labelledby", "password-name");
  dialog.innerHTML = `<form><h2 id="password-name">Change your password</h2>
    <label>password now <input name="old" type="password" autocomplete="current-password" required maxlength="1024"></label>
    <label>new password, at least 10 characters <input name="new" type="password" autocomplete="new-password" required minlength="10" maxlength="1024"></label>
    <label>new password again <input name="again" type="password" autocomplete="new-password" required></label>
    <p role="alert"></p>
    <div class="row"><button type="button">leave it</button><button class="main">change it</button></div></form>`;
  const form = dialog.querySelector("form"), said = dialog.querySelector("p");
  dialog.querySelector("button").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.new.value !== form.again.value) { said.textContent = "The two new passwords differ."; return; }
    try {
      await askJson("/api/password", { old: form.old.value, new: form.new.value });
      dialog.close();
      state.toast("Your password is changed; wherever else you were signed in, you are not any more.");
    } catch (error) { said.textContent = error.message; }
  });
  document.body.append(dialog);
  dialog.showModal();
}
