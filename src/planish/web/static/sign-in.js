import { askJson } from "./api.js";

document.getElementById("door").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  try {
    await askJson("/api/sign-in", { name: form.name.value, password: form.password.value });
    location.assign("/");
  } catch (error) { document.getElementById("said").textContent = error.message; }
});
